-- title: Local days on which a unit logged samples or sessions
-- grain: one row per site_id, unit_id, local_date, source
-- reads: records.usage_samples, records.usage_sessions, run.days
-- internal: decides which source stands for therapy on a day

with

-- A UTC day meets two local days at most, so its first and last sample tell both.
moments as (
    select site_id, unit_id, min(sampled_at) as logged_at
    from records.usage_samples group by site_id, unit_id, cast(sampled_at as date)
    union
    select site_id, unit_id, max(sampled_at)
    from records.usage_samples group by site_id, unit_id, cast(sampled_at as date)
),

sample_days as (
    select moments.site_id, moments.unit_id, days.local_date, 'samples' as source
    from moments
    asof join run.days on moments.site_id = days.site_id and moments.logged_at >= days.starts_at
    union
    select sessions.site_id, sessions.unit_id, days.local_date, 'sessions'
    from records.usage_sessions as sessions
    join run.days
        on sessions.site_id = days.site_id
        and sessions.started_at < days.ends_at
        and sessions.ended_at > days.starts_at
)

select * from sample_days
