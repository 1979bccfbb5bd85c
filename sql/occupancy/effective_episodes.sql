-- title: Effective episodes
-- grain: one row per site_id, unit_id, patient_key, started_at
-- reads: records.episodes, records.disinfections, run.settings
-- internal: the episodes that all other tables use, with charting slips of the end settled
-- note: An end that was never charted is the start of the first passed cycle or of the next episode.
-- note: An end charted up to the slack after a cycle began moves back to the start of that cycle.
-- note: Two patients on one unit: a short overlap trims the earlier one, a long one leaves both in doubt.

with

charted as (
    select
        episodes.*,
        settings.as_of,
        settings.charting_slack,
        min(episodes.started_at) over (
            partition by episodes.site_id, episodes.unit_id
            order by episodes.started_at
            range between interval 1 second following and unbounded following
        ) as next_started_at,
    from records.episodes
    join run.settings using (site_id)
),

passed_cycles as (
    select site_id, unit_id, started_at from records.disinfections where outcome = 'passed'
),

with_first_passed as (
    select charted.*, passed_cycles.started_at as passed_at
    from charted
    asof left join passed_cycles
        on charted.site_id = passed_cycles.site_id
        and charted.unit_id = passed_cycles.unit_id
        and charted.started_at < passed_cycles.started_at
),

with_cycle_before_end as (
    select with_first_passed.*, disinfections.started_at as cycle_at
    from with_first_passed
    asof left join records.disinfections
        on with_first_passed.site_id = disinfections.site_id
        and with_first_passed.unit_id = disinfections.unit_id
        and greatest(
            with_first_passed.started_at,
            with_first_passed.ended_at - with_first_passed.charting_slack - interval 1 second
        ) < disinfections.started_at
),

ends_settled as (
    select
        site_id, unit_id, patient_key, ward, started_at, as_of, charting_slack,
        ended_at is null as end_missing,
        case
            when ended_at is null then least(passed_at, next_started_at)
            when cycle_at <= ended_at then cycle_at
            else ended_at
        end as ended_at,
    from with_cycle_before_end
),

measured as (
    select *, coalesce(ended_at, as_of) as until from ends_settled
),

collisions as (
    select
        earlier.site_id, earlier.unit_id,
        earlier.patient_key as earlier_key, earlier.started_at as earlier_at,
        later.patient_key as later_key, later.started_at as later_at,
        earlier.started_at < later.started_at
            and earlier.until <= later.until
            and least(earlier.until, later.until) - later.started_at <= earlier.charting_slack as trims,
    from measured as earlier
    join measured as later using (site_id, unit_id)
    where earlier.patient_key <> later.patient_key
        and earlier.started_at <= later.started_at
        and later.started_at < least(earlier.until, later.until)
),

trims as (
    select site_id, unit_id, earlier_key as patient_key, earlier_at as started_at, min(later_at) as trimmed_at,
    from collisions where trims group by all
),

contradicted as (
    select site_id, unit_id, earlier_key as patient_key, earlier_at as started_at from collisions where not trims
    union
    select site_id, unit_id, later_key, later_at from collisions where not trims
),

effective_episodes as (
    select
        measured.site_id, measured.unit_id, measured.patient_key, measured.ward, measured.started_at,
        least(measured.ended_at, trims.trimmed_at) as ended_at,
        least(measured.until, trims.trimmed_at) as until,
        measured.end_missing,
        contradicted.patient_key is not null as overlapping,
    from measured
    left join trims using (site_id, unit_id, patient_key, started_at)
    left join contradicted using (site_id, unit_id, patient_key, started_at)
)

select * from effective_episodes
