-- title: Runs behind the warm-up
-- grain: one row per run of a powered unit
-- reads: facts.powered_runs, run.months
-- internal: minutes of use before the target; a run is thousands of samples, so no rows of files are named

with

powered_run_monthly as (
    select
        runs.site_id, runs.ward, months.month, null as part, runs.unit_id, null as patient_key,
        runs.powered_at as told_at,
        coalesce(runs.in_use_before_target_min, 0.0) as numerator,
        1.0 as denominator,
        case when runs.target_reached_at is null then 'target_not_reached' else 'target_reached' end as why,
        null as sources,
    from facts.powered_runs as runs
    join run.months
        on runs.site_id = months.site_id
        and runs.powered_at >= months.starts_at
        and runs.powered_at < months.ends_at
)

select * from powered_run_monthly
