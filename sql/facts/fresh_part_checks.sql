-- title: New parts at the start of a stay
-- section: 4.3
-- grain: one row per start of a stay that is not overlapping, and part that must be new for each patient
-- reads: facts.patient_stays, facts.part_outcomes, facts.part_services, occupancy.coverage, run.part_rules,
-- reads: run.settings

with

checks as (
    select
        stays.site_id, stays.ward, stays.unit_id, stays.stay_no, stays.patient_key, stays.started_at,
        coalesce(stays.ended_at, settings.as_of) as until,
        part_rules.part, part_rules.follows, settings.as_of,
        stays.started_at - settings.prep_window as window_from,
        stays.started_at + settings.charting_slack as window_to,
    from facts.patient_stays as stays
    join run.settings using (site_id)
    join run.part_rules using (site_id)
    where part_rules.per_patient and not stays.overlapping
),

candidates as (
    select
        checks.site_id, checks.unit_id, checks.stay_no, checks.part, spans.row_no,
        spans.fitted_at >= checks.window_from and spans.fitted_at <= checks.window_to as in_window,
        spans.fitted_at < checks.window_from as before_window,
        bool_or(
            services.patient_key = checks.patient_key
            and services.started_at < checks.until
            and services.until > checks.started_at
        ) as serves_stay,
        bool_or(
            services.patient_key <> checks.patient_key and services.started_at < checks.started_at
        ) as served_another_before,
    from checks
    join facts.part_outcomes as spans
        on checks.site_id = spans.site_id
        and checks.part = spans.part
        and spans.follows_id = case checks.follows when 'unit' then checks.unit_id else checks.patient_key end
        and spans.fitted_at < checks.until
    join facts.part_services as services on spans.row_no = services.row_no
    group by all
),

evidence as (
    select
        site_id, unit_id, stay_no, part,
        bool_or(in_window and not served_another_before) as is_fresh,
        bool_or(served_another_before) as is_carried_over,
        bool_or(before_window) as is_own,
    from candidates
    where serves_stay
    group by all
),

fresh_part_checks as (
    select
        checks.site_id, checks.ward, checks.unit_id, checks.patient_key, checks.started_at, checks.part,
        case
            when evidence.is_fresh then 'fresh'
            when evidence.is_carried_over then 'carried_over'
            when evidence.is_own and checks.follows = 'patient' then 'same_patient'
            when coverage.ends_at >= least(checks.window_to, checks.as_of) is not true then 'not_assessable'
            when checks.as_of < checks.window_to then 'undecided'
            else 'no_record'
        end as verdict,
    from checks
    left join evidence using (site_id, unit_id, stay_no, part)
    left join occupancy.coverage
        on checks.site_id = coverage.site_id
        and coverage.table_name = 'part_changes'
        and checks.part = coverage.part
        and checks.window_from >= coverage.starts_at
        and checks.window_from < coverage.ends_at
)

select * from fresh_part_checks
