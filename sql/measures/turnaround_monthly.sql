-- title: Turnaround
-- section: 5
-- question: How long is it from the end of a stay until the unit is disinfected again?
-- numerator: stays reprocessed by then (Aalen-Johansen, with use before reprocessing as the competing event)
-- denominator: stays that ended in the month, less those that cannot be assessed
-- unit: hours
-- better: lower
-- caveat: a unit used again without a valid cycle is never counted as ready; units still waiting are censored
-- grain: one row per site_id, ward, month; ward '*' is the whole site
-- reads: facts.turnarounds, run.months, run.settings

with

timed as (
    select
        turnarounds.*, months.month, settings.turnaround_target_s,
        cast(round(turnaround_h * 3600) as bigint) as turnaround_s,
        cast(round(wait_h * 3600) as bigint) as wait_s,
    from facts.turnarounds
    join run.settings using (site_id)
    join run.months
        on turnarounds.site_id = months.site_id
        and turnarounds.ended_at >= months.starts_at
        and turnarounds.ended_at < months.ends_at
),

summed as (
    select
        site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month,
        count(*) as ended,
        count(*) filter (where status = 'reprocessed') as reprocessed,
        count(*) filter (where status = 'bypassed') as bypassed,
        count(*) filter (where status = 'waiting') as waiting,
        count(*) filter (where status = 'withdrawn') as withdrawn,
        count(*) filter (where status = 'not_assessable') as not_assessable,
        any_value(turnaround_target_s) as turnaround_target_s,
        list(turnaround_s order by turnaround_s, status) filter (where turnaround_s is not null) as times,
        list(status order by turnaround_s, status) filter (where turnaround_s is not null) as statuses,
        median(wait_s) as wait_median_s,
    from timed
    group by grouping sets ((site_id, month, ward), (site_id, month))
),

turnaround_monthly as (
    select
        site_id, ward, month, ended, reprocessed, bypassed, waiting, withdrawn, not_assessable,
        incidence_time(times, statuses, 0.5) / 3600.0 as median_h,
        incidence_time(times, statuses, 0.9) / 3600.0 as p90_h,
        incidence_at(times, statuses, turnaround_target_s) as within_target,
        wait_median_s / 3600.0 as wait_median_h,
    from summed
)

select * from turnaround_monthly
