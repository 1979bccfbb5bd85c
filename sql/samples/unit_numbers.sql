-- title: Units that logged anything, numbered
-- grain: one row per site_id, unit_id
-- reads: records.usage_samples, records.usage_sessions
-- internal: millions of rows carry a small number in place of two texts

with

units as (
    select distinct site_id, unit_id from records.usage_samples
    union
    select distinct site_id, unit_id from records.usage_sessions
),

unit_numbers as (
    select site_id, unit_id, cast(row_number() over (order by site_id, unit_id) as int) as unit_no from units
)

select * from unit_numbers
