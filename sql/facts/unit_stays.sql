-- title: Stays with their neighbours
-- grain: one row per site_id, unit_id, stay_no
-- reads: facts.patient_stays
-- internal: a stay beside the one before and the one after on its unit

with

unit_stays as (
    select
        *,
        lag(patient_key) over unit_order as previous_key,
        lag(started_at) over unit_order as previous_started_at,
        lag(ended_at) over unit_order as previous_ended_at,
        lag(overlapping) over unit_order as previous_overlapping,
        lead(started_at) over unit_order as next_started_at,
    from facts.patient_stays
    window unit_order as (partition by site_id, unit_id order by stay_no)
)

select * from unit_stays
