-- title: New parts for new patients
-- section: 5
-- question: How often does a stay start with a new part?
-- numerator: starts of a stay with a part fitted for this patient
-- denominator: starts with a fresh part, with one carried over, or with no record of one
-- unit: share
-- better: higher
-- caveat: starts that the records do not reach are counted apart, outside the rate
-- grain: one row per site_id, ward, month, part; ward '*' is the whole site
-- reads: facts.fresh_part_checks, run.months

with

counted as (
    select
        checks.site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month, part,
        count(*) filter (where verdict = 'fresh') as fresh,
        count(*) filter (where verdict = 'carried_over') as carried_over,
        count(*) filter (where verdict = 'no_record') as no_record,
        count(*) filter (where verdict = 'same_patient') as same_patient,
        count(*) filter (where verdict = 'undecided') as undecided,
        count(*) filter (where verdict = 'not_assessable') as not_assessable,
    from facts.fresh_part_checks as checks
    join run.months
        on checks.site_id = months.site_id
        and checks.started_at >= months.starts_at
        and checks.started_at < months.ends_at
    group by grouping sets ((checks.site_id, month, part, ward), (checks.site_id, month, part))
),

with_starts as (
    select *, fresh + carried_over + no_record as starts from counted
),

fresh_part_monthly as (
    select
        site_id, ward, month, part, starts, fresh, carried_over, no_record, same_patient, undecided,
        not_assessable,
        fresh / nullif(starts, 0) as fresh_rate,
        wilson_low(fresh, starts) as rate_low,
        wilson_high(fresh, starts) as rate_high,
    from with_starts
)

select * from fresh_part_monthly
