-- title: Turnarounds
-- section: 4.7
-- grain: one row per ended stay that is not overlapping
-- reads: facts.unit_stays, facts.disinfection_cycles, facts.withdrawals, occupancy.coverage, run.settings
-- note: Ready means that a valid cycle ended; a unit used again without one is bypassed, not ready.

with

ended as (
    select
        stays.*, settings.as_of, settings.clock_slack,
        stays.ended_at - settings.clock_slack - interval 1 second as cycle_after,
    from facts.unit_stays as stays
    join run.settings using (site_id)
    where stays.ended_at is not null and not stays.overlapping
),

valid_cycles as (
    select site_id, unit_id, started_at, ended_at from facts.disinfection_cycles where valid
),

with_cycle as (
    select
        ended.*,
        case when next_started_at is null or valid_cycles.ended_at <= next_started_at + clock_slack
            then valid_cycles.started_at end as cycle_started_at,
        case when next_started_at is null or valid_cycles.ended_at <= next_started_at + clock_slack
            then valid_cycles.ended_at end as reprocessed_at,
    from ended
    asof left join valid_cycles
        on ended.site_id = valid_cycles.site_id
        and ended.unit_id = valid_cycles.unit_id
        and ended.cycle_after < valid_cycles.started_at
),

withdrawn as (
    select ended.site_id, ended.unit_id, ended.stay_no,
        min(greatest(withdrawals.withdrawn_at, ended.ended_at)) as withdrawn_at,
    from ended
    join facts.withdrawals
        on ended.site_id = withdrawals.site_id
        and ended.unit_id = withdrawals.unit_id
        and withdrawals.withdrawn_at <= ended.as_of
        and coalesce(withdrawals.until > ended.ended_at, true)
    group by all
),

judged as (
    select
        with_cycle.*, withdrawn.withdrawn_at,
        case
            when reprocessed_at is not null then 'reprocessed'
            when coverage.ends_at >= coalesce(next_started_at, as_of) is not true then 'not_assessable'
            when next_started_at is not null then 'bypassed'
            when withdrawn.withdrawn_at is not null then 'withdrawn'
            else 'waiting'
        end as status,
        case status
            when 'reprocessed' then reprocessed_at
            when 'bypassed' then next_started_at
            when 'withdrawn' then withdrawn.withdrawn_at
            when 'waiting' then as_of
        end as observed_until,
    from with_cycle
    left join withdrawn using (site_id, unit_id, stay_no)
    left join occupancy.coverage
        on with_cycle.site_id = coverage.site_id
        and coverage.table_name = 'disinfections'
        and with_cycle.ended_at >= coverage.starts_at
        and with_cycle.ended_at < coverage.ends_at
),

turnarounds as (
    select
        site_id, ward, unit_id, patient_key, ended_at, cycle_started_at, reprocessed_at, next_started_at, status,
        date_diff('second', ended_at, case when observed_until < ended_at then ended_at else observed_until end)
            / 3600.0 as turnaround_h,
        date_diff('second', ended_at, case when cycle_started_at < ended_at then ended_at else cycle_started_at end)
            / 3600.0 as wait_h,
    from judged
)

select * from turnarounds
