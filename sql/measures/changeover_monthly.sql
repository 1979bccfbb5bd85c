-- title: Unprotected changeovers
-- section: 5
-- question: How often does a unit reach its next patient without proof of a valid disinfection?
-- numerator: changeovers with expired or unproven storage, an invalid cycle, uncharted use, or no record
-- denominator: changeovers, less those undecided, not assessable, or between overlapping stays
-- unit: share
-- better: lower
-- caveat: a missing record is not proof that no disinfection took place, nor is a link an infection
-- caveat: every case is listed; a steady rate is not an acceptable one
-- grain: one row per site_id, ward, month; ward '*' is the whole site
-- reads: facts.changeovers, run.months

with

counted as (
    select
        changeovers.site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month,
        count(*) filter (where proof not in ('undecided', 'not_assessable', 'overlap')) as changeovers,
        count(*) filter (where proof = 'disinfected') as disinfected,
        count(*) filter (where proof = 'counter_only') as counter_only,
        count(*) filter (where proof = 'expired') as expired,
        count(*) filter (where proof = 'storage_unproven') as storage_unproven,
        count(*) filter (where proof = 'invalid_cycle') as invalid_cycle,
        count(*) filter (where proof = 'uncharted_use') as uncharted_use,
        count(*) filter (where proof = 'no_record') as no_record,
        count(*) filter (where proof = 'undecided') as undecided,
        count(*) filter (where proof = 'not_assessable') as not_assessable,
        count(*) filter (where proof = 'overlap') as overlap,
    from facts.changeovers
    join run.months
        on changeovers.site_id = months.site_id
        and changeovers.to_started_at >= months.starts_at
        and changeovers.to_started_at < months.ends_at
    group by grouping sets ((changeovers.site_id, month, ward), (changeovers.site_id, month))
),

with_unprotected as (
    select *, expired + storage_unproven + invalid_cycle + uncharted_use + no_record as unprotected from counted
),

changeover_monthly as (
    select
        *,
        unprotected / nullif(changeovers, 0) as unprotected_rate,
        wilson_low(unprotected, changeovers) as rate_low,
        wilson_high(unprotected, changeovers) as rate_high,
    from with_unprotected
)

select * from changeover_monthly
