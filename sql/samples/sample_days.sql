-- title: Local days on which a unit logged samples or sessions
-- grain: one row per site_id, unit_id, local_date, source
-- reads: samples.standing_samples, samples.unit_numbers, records.usage_sessions, run.days
-- internal: decides which source stands for therapy on a day

with

-- A UTC day meets two local days at most, so its first and last sample tell both.
sampled as (
    select unit_no, min(starts_at) as first_at, max(starts_at) as last_at
    from samples.standing_samples group by unit_no, cast(starts_at as date)
),

moments as (
    select unit_no, first_at as logged_at from sampled
    union
    select unit_no, last_at from sampled
),

sample_days as (
    select units.site_id, units.unit_id, days.local_date, 'samples' as source
    from moments
    join samples.unit_numbers as units using (unit_no)
    join run.days
        on units.site_id = days.site_id
        and moments.logged_at >= days.starts_at
        and moments.logged_at < days.ends_at
    union
    select sessions.site_id, sessions.unit_id, days.local_date, 'sessions'
    from records.usage_sessions as sessions
    join run.days
        on sessions.site_id = days.site_id
        and sessions.started_at < days.ends_at
        and sessions.ended_at > days.starts_at
)

select * from sample_days
