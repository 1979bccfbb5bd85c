-- title: Fittings with their end and outcome
-- grain: one row per row_no (the fitting)
-- reads: facts.part_fittings, facts.part_services
-- internal: part_spans before ward and unit are looked up

with

served as (
    select
        services.row_no,
        min(services.patient_key) filter (where services.position = 1) as first_patient_key,
        min(services.unit_id) filter (where services.position = 1) as first_unit_id,
        count(distinct services.patient_key) - 1 as later_patients,
        bool_and(coalesce(services.ended_at <= fittings.horizon, false)) as all_ended,
        max(services.until) as last_end,
        bool_or(services.ended_at is null) as any_open,
    from facts.part_services as services
    join facts.part_fittings as fittings using (row_no)
    group by services.row_no
),

ends as (
    select
        fittings.*, served.first_patient_key, served.first_unit_id,
        served.row_no is null as unused, served.last_end, served.any_open,
        case when fittings.per_patient then coalesce(served.later_patients, 0) else 0 end as carried_over,
        least(fittings.hard_ended_at, case when served.all_ended then served.last_end end) as ended_at,
    from facts.part_fittings as fittings
    left join served using (row_no)
),

judged as (
    select
        *,
        coalesce(ended_at, horizon) as in_place_until,
        case
            when unused then 'unused'
            when coalesce(ended_at, horizon) > limit_at + grace then 'overrun'
            when ended_at is not null then 'within_limit'
            when horizon < as_of then 'not_assessable'
            else 'undecided'
        end as outcome,
    from ends
),

part_outcomes as (
    select
        *,
        case
            when ended_at = removed_at then 'recorded'
            when ended_at = next_fitted_at then 'next_fitting'
            when ended_at = next_cycle_at then 'disinfection'
            when ended_at is not null then 'episode_end'
            when horizon < as_of then 'coverage_end'
            else 'open'
        end as end_evidence,
        case outcome when 'overrun' then limit_at + grace when 'within_limit' then ended_at end as decided_at,
        case when outcome = 'overrun' then date_diff('second', limit_at, in_place_until) else 0 end as overrun_s,
        outcome = 'overrun'
            or (outcome = 'within_limit' and (coalesce(last_end > ended_at, false) or any_open)) as due,
    from judged
)

select * from part_outcomes
