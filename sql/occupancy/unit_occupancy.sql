-- title: Who is on a unit, moment by moment
-- grain: one row per site_id, unit_id, starts_at; the rows of a unit do not overlap
-- reads: occupancy.effective_episodes
-- internal: one patient for each moment, so that samples find theirs in a single pass
-- note: Of several episodes at one moment the one that started last counts.

with

moments as (
    select site_id, unit_id, started_at as starts_at from occupancy.effective_episodes
    union
    select site_id, unit_id, until from occupancy.effective_episodes
),

stretches as (
    select
        site_id, unit_id, starts_at,
        lead(starts_at) over (partition by site_id, unit_id order by starts_at) as ends_at,
    from moments
),

unit_occupancy as (
    select
        stretches.*, episodes.patient_key, episodes.ward, episodes.started_at as episode_started_at,
    from stretches
    join occupancy.effective_episodes as episodes
        on stretches.site_id = episodes.site_id
        and stretches.unit_id = episodes.unit_id
        and episodes.started_at <= stretches.starts_at
        and episodes.until >= stretches.ends_at
    qualify row_number() over (
        partition by stretches.site_id, stretches.unit_id, stretches.starts_at
        order by episodes.started_at desc, episodes.patient_key desc
    ) = 1
)

select * from unit_occupancy
