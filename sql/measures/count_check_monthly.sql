-- title: Count agreement
-- section: 5
-- question: Does each unit's own count of its cycles agree with the records?
-- numerator: pairs of consecutive counts between which count and records rose alike
-- denominator: pairs of consecutive counts, less those that cannot be assessed
-- unit: pairs
-- better: higher
-- caveat: a likely misread is pointed out, not corrected
-- grain: one row per site_id, ward, month; ward '*' is the whole site
-- reads: facts.count_checks, records.units, run.months

with

count_check_monthly as (
    select
        checks.site_id, case when grouping(units.ward) = 1 then '*' else units.ward end as ward, months.month,
        count(*) as pairs,
        count(*) filter (where verdict = 'agrees') as agrees,
        count(*) filter (where verdict = 'unrecorded') as unrecorded,
        count(*) filter (where verdict = 'uncounted') as uncounted,
        count(*) filter (where verdict = 'rollback') as rollback,
        count(*) filter (where verdict = 'likely_misread') as likely_misread,
        count(*) filter (where verdict = 'not_assessable') as not_assessable,
    from facts.count_checks as checks
    join run.months
        on checks.site_id = months.site_id
        and checks.to_at >= months.starts_at
        and checks.to_at < months.ends_at
    left join records.units on checks.site_id = units.site_id and checks.unit_id = units.unit_id
    group by grouping sets ((checks.site_id, months.month, units.ward), (checks.site_id, months.month))
)

select * from count_check_monthly
