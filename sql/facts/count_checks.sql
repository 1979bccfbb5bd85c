-- title: Counts against records
-- section: 4.8
-- grain: one row per two consecutive counts of a unit
-- reads: facts.known_counts, records.disinfections, occupancy.coverage, run.settings
-- note: A reading that disagrees with both neighbours while they agree with each other is likely misread.

with

-- How many cycles that the counter counts had been recorded by each count.
recorded as (
    select
        counts.site_id, counts.unit_id, counts.observation_no, counts.observed_at, counts.is_reading,
        counts.cycle_count, count(cycles.started_at) as recorded_by,
    from facts.known_counts as counts
    join run.settings using (site_id)
    left join records.disinfections as cycles
        on counts.site_id = cycles.site_id
        and counts.unit_id = cycles.unit_id
        and cycles.ended_at <= counts.observed_at
        and (cycles.outcome = 'passed' or settings.counter_counts = 'all')
    group by all
),

pairs as (
    select
        site_id, unit_id, observation_no,
        lag(observed_at) over unit_order as from_at, observed_at as to_at,
        lag(cycle_count) over unit_order as from_count, cycle_count as to_count,
        recorded_by - lag(recorded_by) over unit_order as expected,
        cycle_count - lag(cycle_count) over unit_order as counted,
        is_reading
            and cycle_count - lag(cycle_count) over unit_order <> recorded_by - lag(recorded_by) over unit_order
            and lead(cycle_count) over unit_order - cycle_count
                <> lead(recorded_by) over unit_order - recorded_by
            and lead(cycle_count) over unit_order - lag(cycle_count) over unit_order
                = lead(recorded_by) over unit_order - lag(recorded_by) over unit_order as misread_to,
    from recorded
    window unit_order as (partition by site_id, unit_id order by observation_no)
),

with_misread_from as (
    select
        *, lag(misread_to) over (partition by site_id, unit_id order by observation_no) as misread_from,
    from pairs
),

count_checks as (
    select
        pairs.site_id, unit_id, from_at, to_at, from_count, to_count, expected, counted,
        case
            when coalesce(misread_to, false) or coalesce(misread_from, false) then 'likely_misread'
            when counted = expected then 'agrees'
            when coverage.ends_at >= to_at is not true then 'not_assessable'
            when counted < 0 then 'rollback'
            when counted > expected then 'unrecorded'
            else 'uncounted'
        end as verdict,
    from with_misread_from as pairs
    left join occupancy.coverage
        on pairs.site_id = coverage.site_id
        and coverage.table_name = 'disinfections'
        and pairs.from_at >= coverage.starts_at
        and pairs.from_at < coverage.ends_at
    where from_at is not null
)

select * from count_checks
