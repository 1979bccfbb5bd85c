-- title: Therapy per 1,000 patient-days
-- section: 5
-- question: How much high-flow therapy is there for each thousand days of patients on the ward?
-- numerator: therapy days
-- denominator: patient-days from the ward census, in thousands
-- unit: days per 1,000 patient-days
-- better: neither
-- caveat: patient-days are those of wards and days that sent a census
-- grain: one row per site_id, ward, month; ward '*' is the whole site
-- reads: facts.therapy_time, records.ward_census, run.days

with

patient_days as (
    select
        census.site_id, case when grouping(census.ward) = 1 then '*' else census.ward end as ward, days.month,
        cast(sum(census.patients) as bigint) as patient_days,
    from records.ward_census as census
    join run.days on census.site_id = days.site_id and census.counted_on = days.local_date
    group by grouping sets ((census.site_id, days.month, census.ward), (census.site_id, days.month))
),

therapy as (
    select
        time.site_id, case when grouping(time.ward) = 1 then '*' else time.ward end as ward, days.month,
        sum(time.therapy_s) as therapy_s,
    from facts.therapy_time as time
    join run.days using (site_id, local_date)
    group by grouping sets ((time.site_id, days.month, time.ward), (time.site_id, days.month))
),

rate_monthly as (
    select
        patient_days.site_id, patient_days.ward, patient_days.month,
        coalesce(therapy.therapy_s, 0) / 86400.0 as therapy_days,
        patient_days.patient_days,
        coalesce(therapy.therapy_s, 0) / 86.4 / nullif(patient_days.patient_days, 0)
            as therapy_days_per_1000_patient_days,
    from patient_days
    left join therapy using (site_id, ward, month)
)

select * from rate_monthly
