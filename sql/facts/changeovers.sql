-- title: Changeovers
-- section: 4.5
-- hidden: stay_no
-- grain: one row per two adjacent stays of different patients on a unit
-- reads: facts.unit_stays, facts.changeover_cycles, facts.changeover_counts, samples.uncharted_therapy,
-- reads: occupancy.coverage, run.settings
-- note: The proof is the first that applies, in the order of the cases below.
-- note: counter_only means that the count rose without a record: for infection prevention to judge.

with

pairs as (
    select
        stays.site_id, stays.unit_id, stays.stay_no, stays.ward,
        stays.previous_key as from_patient_key, stays.patient_key as to_patient_key,
        stays.previous_ended_at as from_ended_at, stays.started_at as to_started_at,
        stays.overlapping or stays.previous_overlapping as overlapping,
        cycles.stay_no is not null as any_cycle,
        cycles.valid_ended_at, cycles.storage_proven,
        counts.counted > counts.recorded as counter_rose,
    from facts.unit_stays as stays
    left join facts.changeover_cycles as cycles using (site_id, unit_id, stay_no)
    left join facts.changeover_counts as counts using (site_id, unit_id, stay_no)
    where stays.previous_key <> stays.patient_key
),

uncharted as (
    select
        pairs.site_id, pairs.unit_id, pairs.stay_no,
        sum(date_diff(
            'second',
            greatest(therapy.starts_at, pairs.valid_ended_at + settings.clock_slack),
            least(therapy.ends_at, pairs.to_started_at - settings.charting_slack)
        )) as uncharted_s,
    from pairs
    join run.settings using (site_id)
    join samples.uncharted_therapy as therapy
        on pairs.site_id = therapy.site_id
        and pairs.unit_id = therapy.unit_id
        and therapy.ends_at > pairs.valid_ended_at + settings.clock_slack
        and therapy.starts_at < pairs.to_started_at - settings.charting_slack
    group by all
),

changeovers as (
    select
        pairs.site_id, pairs.ward, pairs.unit_id, pairs.from_patient_key, pairs.to_patient_key,
        pairs.from_ended_at, pairs.to_started_at,
        date_diff('second', pairs.from_ended_at, pairs.to_started_at) / 3600.0 as gap_h,
        case
            when pairs.overlapping then 'overlap'
            when uncharted.uncharted_s >= settings.uncharted_use_s then 'uncharted_use'
            when pairs.to_started_at - pairs.valid_ended_at > settings.max_storage then 'expired'
            when settings.require_storage_proof and not pairs.storage_proven then 'storage_unproven'
            when pairs.valid_ended_at is not null then 'disinfected'
            when pairs.any_cycle then 'invalid_cycle'
            when coverage.ends_at >= pairs.to_started_at is not true then 'not_assessable'
            when pairs.counter_rose then 'counter_only'
            when settings.as_of < pairs.to_started_at + settings.charting_slack then 'undecided'
            else 'no_record'
        end as proof,
        pairs.stay_no,
    from pairs
    join run.settings using (site_id)
    left join uncharted using (site_id, unit_id, stay_no)
    left join occupancy.coverage
        on pairs.site_id = coverage.site_id
        and coverage.table_name = 'disinfections'
        and pairs.from_ended_at >= coverage.starts_at
        and pairs.from_ended_at < coverage.ends_at
)

select * from changeovers
