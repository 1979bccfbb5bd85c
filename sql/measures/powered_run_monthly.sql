-- title: Warm-up and humidity in use
-- section: 5
-- question: How long do units take to reach their target, and are they used before they do?
-- numerator: minutes of use before the target was first reached
-- denominator: runs of a powered unit
-- unit: minutes
-- better: lower
-- caveat: a run needs samples with a dew point; low humidity needs the set dew point as well
-- grain: one row per site_id, ward, month; ward '*' is the whole site
-- reads: facts.powered_runs, facts.therapy_time, run.months, run.days

with

runs as (
    select runs.*, months.month,
    from facts.powered_runs as runs
    join run.months
        on runs.site_id = months.site_id
        and runs.powered_at >= months.starts_at
        and runs.powered_at < months.ends_at
),

run_sums as (
    select
        site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month,
        count(*) as runs,
        count(target_reached_at) as reached,
        quantile_cont(warmup_min, 0.5) as warmup_median_min,
        quantile_cont(warmup_min, 0.9) as warmup_p90_min,
        sum(early_s) / 60.0 as in_use_before_target_min,
    from runs
    group by grouping sets ((site_id, month, ward), (site_id, month))
),

low_humidity as (
    select
        time.site_id, case when grouping(time.ward) = 1 then '*' else time.ward end as ward, days.month,
        sum(time.low_s) / 3600.0 as low_humidity_h,
    from facts.therapy_time as time
    join run.days using (site_id, local_date)
    where time.basis = 'samples'
    group by grouping sets ((time.site_id, days.month, time.ward), (time.site_id, days.month))
),

powered_run_monthly as (
    select
        run_sums.*, low_humidity.low_humidity_h,
    from run_sums
    left join low_humidity
        on run_sums.site_id = low_humidity.site_id
        and run_sums.month = low_humidity.month
        and run_sums.ward is not distinct from low_humidity.ward
)

select * from powered_run_monthly
