-- title: Units to disinfect, in use unproven, or not counted
-- grain: one row per kind, site_id, unit_id
-- reads: facts.turnarounds, facts.patient_stays, facts.changeovers, facts.disinfection_cycles, facts.known_counts,
-- reads: facts.unit_places, facts.withdrawals, records.units, run.days, run.settings
-- internal: the rows of the worklist that are about a unit
-- note: A patient is on an unproven unit when no valid cycle has come after the changeover that brought them.
-- note: Counts are missed only at sites that know some count of the last 30 days; else their export is missing.

with

waiting as (
    select
        'disinfect' as kind, turnarounds.site_id, turnarounds.unit_id, turnarounds.patient_key,
        turnarounds.ended_at + to_seconds(settings.turnaround_target_s) as due_at,
        turnarounds.ended_at as since_at,
    from facts.turnarounds
    join run.settings using (site_id)
    where turnarounds.status = 'waiting'
),

last_changeovers as (
    select stays.site_id, stays.unit_id, stays.patient_key, stays.started_at as stay_started_at,
        changeovers.to_started_at, changeovers.proof, settings.clock_slack,
    from facts.patient_stays as stays
    join run.settings using (site_id)
    join facts.changeovers
        on stays.site_id = changeovers.site_id
        and stays.unit_id = changeovers.unit_id
        and changeovers.stay_no <= stays.stay_no
    where stays.ended_at is null
    qualify row_number() over (
        partition by stays.site_id, stays.unit_id, stays.stay_no order by changeovers.stay_no desc
    ) = 1
),

unproven as (
    select 'in_use_unproven' as kind, site_id, unit_id, patient_key, to_started_at as due_at, to_started_at as since_at,
    from last_changeovers
    where proof in ('expired', 'storage_unproven', 'invalid_cycle', 'uncharted_use', 'no_record')
        and not exists (
            select 1 from facts.disinfection_cycles as cycles
            where cycles.site_id = last_changeovers.site_id
                and cycles.unit_id = last_changeovers.unit_id
                and cycles.valid
                and cycles.started_at >= last_changeovers.to_started_at
                and cycles.ended_at <= last_changeovers.stay_started_at + last_changeovers.clock_slack
        )
),

site_counts as (
    select counts.site_id, min(counts.observed_at) as first_count_at,
    from facts.known_counts as counts
    join run.settings using (site_id)
    group by counts.site_id, settings.as_of
    having max(counts.observed_at) > settings.as_of - interval 30 days
),

last_counts as (
    select site_id, unit_id, max(observed_at) as counted_at from facts.known_counts group by all
),

countable as (
    select
        places.site_id, places.unit_id, settings.as_of,
        coalesce(last_counts.counted_at, greatest(site_counts.first_count_at, days.starts_at)) as counted_at,
    from facts.unit_places as places
    join run.settings using (site_id)
    join site_counts using (site_id)
    left join last_counts using (site_id, unit_id)
    left join records.units using (site_id, unit_id)
    left join run.days on places.site_id = days.site_id and units.in_service_on = days.local_date
    where not exists (
        select 1 from facts.withdrawals
        where withdrawals.site_id = places.site_id
            and withdrawals.unit_id = places.unit_id
            and withdrawals.withdrawn_at <= settings.as_of
            and coalesce(withdrawals.until > settings.as_of, true)
    )
),

uncounted as (
    select 'count_missing' as kind, site_id, unit_id, null as patient_key, counted_at + interval 30 days as due_at,
        counted_at as since_at,
    from countable
    where counted_at <= as_of - interval 30 days
),

unit_tasks as (
    select * from waiting
    union all
    select * from unproven
    union all
    select * from uncounted
)

select * from unit_tasks
