-- title: Times behind the fleet
-- grain: one row per stretch of a unit in use, waiting or ready, cut at the month's ends
-- reads: facts.unit_times, facts.idle_times, facts.fleet_months
-- internal: hours; in use, waiting and available are divided by the hours of the month, each by itself

with

stretches as (
    select site_id, ward, unit_id, task, starts_at, ends_at from facts.unit_times where task <> 'withdrawn'
    union all
    select site_id, ward, unit_id, 'available', starts_at, ends_at from facts.idle_times
),

fleet_monthly as (
    select
        stretches.site_id, stretches.ward, months.month, null as part, stretches.unit_id, null as patient_key,
        greatest(stretches.starts_at, months.starts_at) as told_at,
        date_diff(
            'second', greatest(stretches.starts_at, months.starts_at), least(stretches.ends_at, months.ends_at)
        ) / 3600.0 as numerator,
        0.0 as denominator,
        stretches.task as why,
        null as sources,
    from stretches
    join facts.fleet_months as months
        on stretches.site_id = months.site_id
        and stretches.starts_at < months.ends_at
        and stretches.ends_at > months.starts_at
)

select * from fleet_monthly
