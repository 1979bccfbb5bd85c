-- title: When a unit left the pool
-- grain: one row per site_id, unit_id, withdrawn_at, until
-- reads: records.units, records.unit_status, run.days
-- internal: retirement (from local midnight) and times in repair, on loan or held

with

withdrawals as (
    select units.site_id, units.unit_id, days.starts_at as withdrawn_at, null::timestamp as until
    from records.units
    join run.days on units.site_id = days.site_id and units.retired_on = days.local_date
    union
    select site_id, unit_id, started_at, ended_at from records.unit_status
)

select * from withdrawals
