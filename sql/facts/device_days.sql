-- title: Device-days
-- grain: one row per site_id, ward, patient_key, local_date
-- reads: occupancy.effective_episodes, run.days
-- internal: patients on a unit at the same time each day (the NHSN way of counting)

with

device_days as (
    select distinct episodes.site_id, episodes.ward, episodes.patient_key, days.local_date, days.month
    from run.days
    join occupancy.effective_episodes as episodes
        on days.site_id = episodes.site_id
        and episodes.started_at <= days.census_at
        and episodes.until > days.census_at
)

select * from device_days
