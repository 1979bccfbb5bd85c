-- title: Stretches of each month that the record of episodes covers
-- grain: one row per site_id, month, starts_at
-- reads: occupancy.coverage, run.months, run.settings
-- internal: the time that the means of fleet_monthly are taken over

with

fleet_months as (
    select
        months.site_id, months.month,
        greatest(months.starts_at, coverage.starts_at) as starts_at,
        least(months.ends_at, coverage.ends_at, settings.as_of) as ends_at,
    from run.months
    join run.settings using (site_id)
    join occupancy.coverage
        on months.site_id = coverage.site_id
        and coverage.table_name = 'episodes'
        and coverage.part = '*'
        and coverage.starts_at < months.ends_at
        and coverage.ends_at > months.starts_at
)

select * from fleet_months where starts_at < ends_at
