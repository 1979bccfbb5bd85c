-- title: Therapy time in whole seconds
-- grain: one row per site_id, unit_id, patient_key, episode_started_at, local_date, basis
-- reads: samples.therapy_pieces, samples.sample_days, occupancy.effective_episodes, run.days
-- internal: therapy_days and its sums before any division
-- note: Episode time stands in on a unit's local day without samples and sessions, with no modelled water.

with

episode_days as (
    select
        episodes.site_id, episodes.unit_id, episodes.patient_key, episodes.ward,
        episodes.started_at as episode_started_at, days.local_date,
        date_diff(
            'second', greatest(episodes.started_at, days.starts_at), least(episodes.until, days.ends_at)
        ) as therapy_s,
    from occupancy.effective_episodes as episodes
    join run.days
        on episodes.site_id = days.site_id
        and episodes.started_at < days.ends_at
        and episodes.until > days.starts_at
    anti join samples.sample_days
        on episodes.site_id = sample_days.site_id
        and episodes.unit_id = sample_days.unit_id
        and days.local_date = sample_days.local_date
),

therapy_time as (
    select
        site_id, unit_id, patient_key, ward, episode_started_at, local_date, basis,
        therapy_s, flow_sum, water_sum, low_s,
    from samples.therapy_pieces
    union all
    select
        site_id, unit_id, patient_key, ward, episode_started_at, local_date, 'episode',
        therapy_s, null, null, null,
    from episode_days
    where therapy_s > 0
)

select * from therapy_time
