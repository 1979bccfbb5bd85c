-- title: Therapy and census behind the rate
-- grain: one row per patient, unit and day of therapy, and per ward and day of the census
-- reads: facts.therapy_time, settled.ward_census, records.ward_census, run.days
-- internal: days of therapy in the numerator, thousands of patient-days in the denominator

with

therapy as (
    select
        time.site_id, time.ward, days.month, null as part, time.unit_id, time.patient_key,
        days.starts_at as told_at,
        time.therapy_s / 86400.0 as numerator, 0.0 as denominator, 'therapy' as why, null as sources,
    from facts.therapy_time as time
    join run.days using (site_id, local_date)
),

census_rows as (
    select
        rows.site_id, rows.ward, rows.counted_on,
        list({'table_name': 'ward_census', 'file_sha256': rows.file_sha256, 'source_row': rows.source_row}
            order by rows.file_sha256, rows.source_row) as sources,
    from settled.ward_census as rows
    group by all
),

census as (
    select
        census.site_id, census.ward, days.month, null as part, null as unit_id, null as patient_key,
        days.starts_at as told_at,
        0.0 as numerator, census.patients / 1000.0 as denominator, 'census' as why, census_rows.sources,
    from records.ward_census as census
    join run.days on census.site_id = days.site_id and census.counted_on = days.local_date
    left join census_rows
        on census.site_id = census_rows.site_id
        and census.ward = census_rows.ward
        and census.counted_on = census_rows.counted_on
),

rate_monthly as (
    select * from therapy
    union all
    select * from census
)

select * from rate_monthly
