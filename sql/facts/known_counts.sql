-- title: Counts known of a unit's cycle counter
-- grain: one row per site_id, unit_id, observation_no
-- reads: records.disinfections, records.count_readings
-- internal: cycle counts at the cycle's end, then readings, in order of time

with

observations as (
    select site_id, unit_id, ended_at as observed_at, 0 as kind, cycle_count
    from records.disinfections where ended_at is not null and cycle_count is not null
    union all
    select site_id, unit_id, read_at, 1, cycle_count from records.count_readings
),

known_counts as (
    select
        site_id, unit_id, observed_at, kind = 1 as is_reading, cycle_count,
        row_number() over (
            partition by site_id, unit_id order by observed_at, kind, cycle_count
        ) as observation_no,
    from observations
)

select * from known_counts
