-- title: Bags and days behind the water
-- grain: one row per bag hung, and per patient, unit and day of therapy with modelled water
-- reads: facts.bag_runs, facts.therapy_time, sources.fitting_rows, run.days, run.water_units
-- internal: millilitres hung in the numerator, modelled ones in the denominator; other bags in neither

with

modelled as (
    select
        time.site_id, time.ward, days.month, null as part, time.unit_id, time.patient_key,
        days.starts_at as told_at,
        0.0 as numerator, time.water_sum / water_units.per_ml as denominator, 'modelled' as why, null as sources,
        time.local_date,
    from facts.therapy_time as time
    join run.days using (site_id, local_date)
    cross join run.water_units
    where time.water_sum is not null
),

water_days as (
    select distinct site_id, unit_id, local_date from modelled
),

hung as (
    select
        bags.site_id, bags.ward, days.month, 'water_bag' as part, bags.unit_id, null as patient_key,
        bags.hung_at as told_at,
        case when water_days.unit_id is not null then bags.volume_ml else 0.0 end as numerator,
        0.0 as denominator,
        case when water_days.unit_id is not null then 'hung' else 'no_modelled_water_that_day' end as why,
        fitting_rows.sources,
    from facts.bag_runs as bags
    join run.days
        on bags.site_id = days.site_id
        and bags.hung_at >= days.starts_at
        and bags.hung_at < days.ends_at
    left join water_days
        on bags.site_id = water_days.site_id
        and bags.unit_id = water_days.unit_id
        and days.local_date = water_days.local_date
    left join sources.fitting_rows on bags.row_no = fitting_rows.row_no
),

water_monthly as (
    select * from hung
    union all
    select * exclude (local_date) from modelled
)

select * from water_monthly
