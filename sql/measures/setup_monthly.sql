-- title: Set-up steps
-- section: 5
-- question: Are the site's own set-up steps done when a stay starts?
-- numerator: starts at which the latest check of the step says done
-- denominator: starts at which the step was checked
-- unit: share
-- better: higher
-- caveat: a start without a check is counted beside the rate, not as a failure
-- grain: one row per site_id, ward, month, step; ward '*' is the whole site
-- reads: facts.patient_stays, records.setup_checks, run.months, run.settings

with

steps as (
    select distinct site_id, step from records.setup_checks
),

starts as (
    select
        stays.site_id, stays.ward, stays.unit_id, stays.stay_no, months.month, steps.step,
        stays.started_at - settings.prep_window as checked_from,
        stays.started_at + settings.charting_slack as checked_to,
        stays.patient_key,
    from facts.patient_stays as stays
    join run.settings using (site_id)
    join steps using (site_id)
    join run.months
        on stays.site_id = months.site_id
        and stays.started_at >= months.starts_at
        and stays.started_at < months.ends_at
    where not stays.overlapping
),

judged as (
    select
        starts.site_id, starts.ward, starts.unit_id, starts.stay_no, starts.month, starts.step,
        count(checks.step) > 0 as checked,
        coalesce(arg_max(checks.result, (checks.checked_at, checks.result)) = 'done', false) as done,
    from starts
    left join records.setup_checks as checks
        on starts.site_id = checks.site_id
        and starts.unit_id = checks.unit_id
        and starts.step = checks.step
        and checks.checked_at >= starts.checked_from
        and checks.checked_at <= starts.checked_to
        and coalesce(checks.patient_key = starts.patient_key, true)
    group by all
),

summed as (
    select
        site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month, step,
        count(*) as starts,
        count(*) filter (where checked) as starts_checked,
        count(*) filter (where done) as done,
    from judged
    group by grouping sets ((site_id, month, step, ward), (site_id, month, step))
),

setup_monthly as (
    select
        *,
        done / nullif(starts_checked, 0) as done_rate,
        starts_checked / nullif(starts, 0) as checked_rate,
        wilson_low(done, starts_checked) as rate_low,
        wilson_high(done, starts_checked) as rate_high,
    from summed
)

select * from setup_monthly
