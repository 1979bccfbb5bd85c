-- title: Patient stays
-- section: 4.1
-- grain: one row per site_id, unit_id, stay_no
-- reads: facts.stay_episodes
-- note: Open when its last episode is; its ward is the last episode's.

with

patient_stays as (
    select
        site_id, unit_id, stay_no, patient_key,
        arg_max(ward, started_at) as ward,
        min(started_at) as started_at,
        case when arg_max(ended_at is null, started_at) then null else max(ended_at) end as ended_at,
        bool_or(overlapping) as overlapping,
    from facts.stay_episodes
    group by site_id, unit_id, stay_no, patient_key
)

select * from patient_stays
