-- title: Starts of a stay behind the rate of new parts
-- grain: one row per start of a stay and part
-- reads: facts.fresh_part_checks, facts.patient_stays, sources.stay_rows, run.months
-- internal: the stay at whose start a new part was looked for

with

fresh_part_monthly as (
    select
        checks.site_id, checks.ward, months.month, checks.part, checks.unit_id, checks.patient_key,
        checks.started_at as told_at,
        cast(checks.verdict = 'fresh' as double) as numerator,
        cast(checks.verdict in ('fresh', 'carried_over', 'no_record') as double) as denominator,
        checks.verdict as why,
        stay_rows.sources,
    from facts.fresh_part_checks as checks
    join run.months
        on checks.site_id = months.site_id
        and checks.started_at >= months.starts_at
        and checks.started_at < months.ends_at
    join facts.patient_stays as stays
        on checks.site_id = stays.site_id
        and checks.unit_id = stays.unit_id
        and checks.patient_key = stays.patient_key
        and checks.started_at = stays.started_at
    left join sources.stay_rows
        on stays.site_id = stay_rows.site_id
        and stays.unit_id = stay_rows.unit_id
        and stays.stay_no = stay_rows.stay_no
)

select * from fresh_part_monthly
