-- title: Covered stretches of time
-- grain: one row per site_id, table_name, part, starts_at; part is '*' for the table as a whole
-- reads: occupancy.covered_months, occupancy.table_months, records.part_changes, run.part_rules
-- internal: a window is covered when one of these stretches holds it
-- note: Coverage begins at the first row, for a part at its first fitting, or with a declared month.

with

declared as (
    select site_id, table_name, min(starts_at) as starts_at
    from occupancy.covered_months where declared group by all
),

beginnings as (
    select site_id, table_name, '*' as part, min(first_at) as first_at
    from occupancy.table_months group by all
    union all
    select site_id, 'part_changes', part, min(fitted_at) from records.part_changes group by all
    union all
    select site_id, table_name, '*', starts_at from declared
    union all
    select declared.site_id, declared.table_name, part_rules.part, declared.starts_at
    from declared join run.part_rules using (site_id)
    where declared.table_name = 'part_changes'
),

numbered as (
    select
        *,
        month_no - row_number() over (partition by site_id, table_name order by month_no) as stretch,
    from occupancy.covered_months
),

stretches as (
    select site_id, table_name, stretch, min(starts_at) as starts_at, max(ends_at) as ends_at
    from numbered group by all
),

begun as (
    select site_id, table_name, part, min(first_at) as first_at from beginnings group by all
),

coverage as (
    select
        begun.site_id, begun.table_name, begun.part,
        greatest(stretches.starts_at, begun.first_at) as starts_at,
        stretches.ends_at,
    from begun join stretches using (site_id, table_name)
    where begun.first_at < stretches.ends_at
)

select * from coverage
