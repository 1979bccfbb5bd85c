-- title: Months in which a table has rows
-- grain: one row per site_id, table_name, month
-- reads: records.episodes, records.part_changes, records.disinfections, records.cycle_temperatures,
-- reads: records.count_readings, records.setup_checks, records.stock_moves, records.unit_status,
-- reads: records.usage_sessions, records.usage_samples, records.ward_census, run.months
-- internal: coverage and the completeness of exports are read off it

with

-- A UTC day meets two local months at most, so its first and last row tell both.
daily as (
    select site_id, 'episodes' as table_name, min(started_at) as first_at, max(started_at) as last_at
    from records.episodes group by site_id, cast(started_at as date)
    union all
    select site_id, 'part_changes', min(fitted_at), max(fitted_at)
    from records.part_changes group by site_id, cast(fitted_at as date)
    union all
    select site_id, 'disinfections', min(started_at), max(started_at)
    from records.disinfections group by site_id, cast(started_at as date)
    union all
    select site_id, 'cycle_temperatures', min(measured_at), max(measured_at)
    from records.cycle_temperatures group by site_id, cast(measured_at as date)
    union all
    select site_id, 'count_readings', min(read_at), max(read_at)
    from records.count_readings group by site_id, cast(read_at as date)
    union all
    select site_id, 'setup_checks', min(checked_at), max(checked_at)
    from records.setup_checks group by site_id, cast(checked_at as date)
    union all
    select site_id, 'stock_moves', min(moved_at), max(moved_at)
    from records.stock_moves group by site_id, cast(moved_at as date)
    union all
    select site_id, 'unit_status', min(started_at), max(started_at)
    from records.unit_status group by site_id, cast(started_at as date)
    union all
    select site_id, 'usage_sessions', min(started_at), max(started_at)
    from records.usage_sessions group by site_id, cast(started_at as date)
    union all
    select site_id, 'usage_samples', min(sampled_at), max(sampled_at)
    from records.usage_samples group by site_id, cast(sampled_at as date)
    union all
    select site_id, 'ward_census', min(counted_at), max(counted_at)
    from records.ward_census group by site_id, cast(counted_at as date)
),

table_months as (
    select
        daily.site_id, daily.table_name, months.month,
        min(case when daily.first_at >= months.starts_at then daily.first_at else daily.last_at end) as first_at,
        max(case when daily.last_at < months.ends_at then daily.last_at else daily.first_at end) as last_at,
    from daily
    join run.months
        on daily.site_id = months.site_id
        and daily.last_at >= months.starts_at
        and daily.first_at < months.ends_at
    group by all
)

select * from table_months
