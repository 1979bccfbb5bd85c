-- title: Starts of a stay behind the set-up steps
-- grain: one row per start of a stay and step
-- reads: facts.patient_stays, records.setup_checks, sources.check_rows, sources.stay_rows, run.months, run.settings
-- internal: the latest check of the step, else the stay that has none; part names the step

with

steps as (
    select distinct site_id, step from records.setup_checks
),

starts as (
    select
        stays.site_id, stays.ward, months.month, steps.step, stays.unit_id, stays.patient_key, stays.started_at,
        stays.stay_no, arg_max(checks.checked_at, (checks.checked_at, checks.result)) as checked_at,
        arg_max(checks.result, (checks.checked_at, checks.result)) as result,
    from facts.patient_stays as stays
    join run.settings using (site_id)
    join steps using (site_id)
    join run.months
        on stays.site_id = months.site_id
        and stays.started_at >= months.starts_at
        and stays.started_at < months.ends_at
    left join records.setup_checks as checks
        on stays.site_id = checks.site_id
        and stays.unit_id = checks.unit_id
        and steps.step = checks.step
        and checks.checked_at >= stays.started_at - settings.prep_window
        and checks.checked_at <= stays.started_at + settings.charting_slack
        and coalesce(checks.patient_key = stays.patient_key, true)
    where not stays.overlapping
    group by all
),

setup_monthly as (
    select
        starts.site_id, starts.ward, starts.month, starts.step as part, starts.unit_id, starts.patient_key,
        starts.started_at as told_at,
        cast(coalesce(starts.result = 'done', false) as double) as numerator,
        cast(starts.result is not null as double) as denominator,
        coalesce(starts.result, 'never_checked') as why,
        coalesce(check_rows.sources, stay_rows.sources) as sources,
    from starts
    left join sources.check_rows
        on starts.site_id = check_rows.site_id
        and starts.unit_id = check_rows.unit_id
        and starts.step = check_rows.step
        and starts.checked_at = check_rows.checked_at
    left join sources.stay_rows
        on starts.site_id = stay_rows.site_id
        and starts.unit_id = stay_rows.unit_id
        and starts.stay_no = stay_rows.stay_no
)

select * from setup_monthly
