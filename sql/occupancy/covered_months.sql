-- title: Covered months
-- grain: one row per site_id, table_name, month
-- reads: occupancy.table_months, run.declared_months, run.months, run.settings
-- section: 1
-- hidden: month_no, starts_at, ends_at
-- note: a month is covered by its rows, by the rules, or as the month of as_of after a covered one

with

known as (
    select site_id, table_name, month, false as declared from occupancy.table_months
    union all
    select site_id, table_name, month, true from run.declared_months
),

stated as (
    select known.site_id, known.table_name, months.month_no, bool_or(known.declared) as declared,
    from known join run.months using (site_id, month)
    group by all
),

latest as (
    select months.site_id, months.month_no
    from run.months join run.settings using (site_id)
    where settings.as_of >= months.starts_at and settings.as_of < months.ends_at
),

with_latest as (
    select * from stated
    union
    select stated.site_id, stated.table_name, latest.month_no, false
    from stated
    join latest on stated.site_id = latest.site_id and stated.month_no = latest.month_no - 1
    where not exists (
        select 1 from stated as same
        where same.site_id = stated.site_id
            and same.table_name = stated.table_name
            and same.month_no = latest.month_no
    )
),

covered_months as (
    select with_latest.*, months.month, months.starts_at, months.ends_at,
    from with_latest join run.months using (site_id, month_no)
)

select * from covered_months
