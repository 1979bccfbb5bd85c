-- title: Counts behind the agreement
-- grain: one row per two consecutive counts of a unit
-- reads: facts.count_checks, records.units, sources.count_rows, run.months
-- internal: both counts, as readings or as cycles that told theirs

with

count_check_monthly as (
    select
        checks.site_id, units.ward, months.month, null as part, checks.unit_id, null as patient_key,
        checks.to_at as told_at,
        cast(checks.verdict = 'agrees' as double) as numerator,
        cast(checks.verdict <> 'not_assessable' as double) as denominator,
        checks.verdict as why,
        list_concat(first.sources, second.sources) as sources,
    from facts.count_checks as checks
    join run.months
        on checks.site_id = months.site_id
        and checks.to_at >= months.starts_at
        and checks.to_at < months.ends_at
    left join records.units on checks.site_id = units.site_id and checks.unit_id = units.unit_id
    left join sources.count_rows as first
        on checks.site_id = first.site_id
        and checks.unit_id = first.unit_id
        and checks.from_at = first.observed_at
    left join sources.count_rows as second
        on checks.site_id = second.site_id
        and checks.unit_id = second.unit_id
        and checks.to_at = second.observed_at
)

select * from count_check_monthly
