-- title: Days on which a source sent rows
-- grain: one row per site_id, table_name, unit_id, ward, local_date; without unit and ward it is the table's own
-- reads: records.episodes, records.part_changes, records.disinfections, records.count_readings,
-- reads: records.setup_checks, records.stock_moves, records.usage_sessions, records.ward_census,
-- reads: samples.standing_samples, samples.unit_numbers, run.days
-- internal: what the usual rhythm of tables, units and wards is read off
-- note: Units by what they log of themselves, wards by the episodes they chart and the patients they count.

with

logged as (
    select units.site_id, 'usage_samples' as table_name, units.unit_id, cast(samples.starts_at as date) as utc_date,
        min(samples.starts_at) as first_at, max(samples.starts_at) as last_at,
    from samples.standing_samples as samples
    join samples.unit_numbers as units using (unit_no)
    group by all
),

events as (
    select site_id, table_name, unit_id, null as ward, unnest([first_at, last_at]) as told_at from logged
    union all
    select site_id, 'usage_sessions', unit_id, null, started_at from records.usage_sessions
    union all
    select site_id, 'episodes', null, ward, started_at from records.episodes
    union all
    select site_id, 'ward_census', null, ward, counted_at from records.ward_census
    union all
    select site_id, 'part_changes', null, null, fitted_at from records.part_changes
    union all
    select site_id, 'disinfections', null, null, started_at from records.disinfections
    union all
    select site_id, 'count_readings', null, null, read_at from records.count_readings
    union all
    select site_id, 'setup_checks', null, null, checked_at from records.setup_checks
    union all
    select site_id, 'stock_moves', null, null, moved_at from records.stock_moves
),

-- Once for the table as a whole, and once for each unit or ward in it.
by_source as (
    select site_id, table_name, null as unit_id, null as ward, told_at from events
    union all
    select * from events where unit_id is not null or ward is not null
),

source_days as (
    select
        by_source.site_id, by_source.table_name, by_source.unit_id, by_source.ward, days.local_date,
        max(by_source.told_at) as last_at,
    from by_source
    join run.days
        on by_source.site_id = days.site_id
        and by_source.told_at >= days.starts_at
        and by_source.told_at < days.ends_at
    group by all
)

select * from source_days
