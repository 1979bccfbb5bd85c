-- title: A unit's time cut at local midnights and where episodes start and end
-- grain: one row per segment_no; the segments of a unit do not overlap
-- reads: samples.unit_numbers, occupancy.unit_occupancy, run.days
-- internal: one look-up gives a logged piece both its patient and its local day

with

cuts as (
    select units.unit_no, days.starts_at
    from samples.unit_numbers as units
    join run.days using (site_id)
    union
    select units.unit_no, occupancy.starts_at
    from samples.unit_numbers as units
    join occupancy.unit_occupancy as occupancy using (site_id, unit_id)
    union
    select units.unit_no, occupancy.ends_at
    from samples.unit_numbers as units
    join occupancy.unit_occupancy as occupancy using (site_id, unit_id)
),

segments as (
    select
        unit_no, starts_at,
        lead(starts_at) over (partition by unit_no order by starts_at) as ends_at,
    from cuts
),

unit_segments as (
    select
        cast(row_number() over (order by segments.unit_no, segments.starts_at) as int) as segment_no,
        segments.unit_no, units.site_id, units.unit_id, segments.starts_at, segments.ends_at,
        days.local_date, days.ends_at as day_ends_at,
        occupancy.patient_key, occupancy.ward, occupancy.episode_started_at, occupancy.ends_at as occupied_until,
    from segments
    join samples.unit_numbers as units using (unit_no)
    asof join run.days
        on units.site_id = days.site_id
        and segments.starts_at >= days.starts_at
    left join occupancy.unit_occupancy as occupancy
        on units.site_id = occupancy.site_id
        and units.unit_id = occupancy.unit_id
        and segments.starts_at >= occupancy.starts_at
        and segments.starts_at < occupancy.ends_at
)

select * from unit_segments
