-- title: Parts that are due, overdue or prepared
-- grain: one row per kind, row_no (the fitting)
-- reads: facts.part_outcomes, facts.part_services, facts.unit_places, run.settings
-- internal: the rows of the worklist that are about a part in place
-- note: Only parts that the records follow up to as_of; a part is overdue once its limit and the grace are past.
-- note: The unit and patient are those that the part serves now. What goes with the patient prepares no unit.

with

in_place as (
    select
        outcomes.row_no, outcomes.site_id, outcomes.part, outcomes.fitted_at, outcomes.limit_at, outcomes.outcome,
        outcomes.unit_id, outcomes.follows, outcomes.as_of, settings.prep_window,
    from facts.part_outcomes as outcomes
    join run.settings using (site_id)
    where outcomes.end_evidence = 'open'
),

serving as (
    select
        row_no,
        arg_max(unit_id, (started_at, patient_key)) as unit_id,
        arg_max(patient_key, (started_at, patient_key)) as patient_key,
    from facts.part_services
    where ended_at is null
    group by row_no
),

limited as (
    select
        case when in_place.outcome = 'overrun' then 'part_overdue' else 'part_due' end as kind,
        in_place.row_no, in_place.site_id, serving.unit_id, in_place.part, serving.patient_key,
        in_place.limit_at as due_at,
        case when in_place.outcome = 'overrun' then in_place.limit_at else in_place.fitted_at end as since_at,
    from in_place
    join serving using (row_no)
    where in_place.outcome = 'overrun'
        or in_place.limit_at <= in_place.as_of + interval 24 hours
),

prepared as (
    select
        'prepared_check' as kind,
        in_place.row_no, in_place.site_id, in_place.unit_id, in_place.part, null as patient_key,
        in_place.fitted_at + in_place.prep_window as due_at,
        in_place.fitted_at as since_at,
    from in_place
    left join facts.unit_places as places using (site_id, unit_id)
    where in_place.outcome = 'unused'
        and in_place.follows = 'unit'
        and places.occupied is not true
),

part_tasks as (
    select * from limited
    union all
    select * from prepared
)

select * from part_tasks
