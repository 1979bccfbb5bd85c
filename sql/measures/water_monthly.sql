-- title: Water hung against the model
-- section: 5
-- question: How does the water hung compare with what flow and humidity needed?
-- numerator: millilitres in the bags hung on a unit's days with modelled water
-- denominator: millilitres that the model says the logged flow took up
-- unit: ratio
-- better: near one
-- caveat: the water is modelled from flow and dew point, not measured; bags may be thrown away part full
-- grain: one row per site_id, ward, month; ward '*' is the whole site
-- reads: facts.therapy_time, facts.device_days, facts.bag_runs, occupancy.coverage, run.days, run.months,
-- reads: run.settings, run.water_units

with

water_days as (
    select distinct site_id, unit_id, local_date from facts.therapy_time where water_sum is not null
),

bags as (
    select
        bag_runs.*, days.month,
        case when water_days.unit_id is not null then bag_runs.volume_ml end as volume_beside_model_ml,
    from facts.bag_runs
    join run.days
        on bag_runs.site_id = days.site_id
        and bag_runs.hung_at >= days.starts_at
        and bag_runs.hung_at < days.ends_at
    left join water_days
        on bag_runs.site_id = water_days.site_id
        and bag_runs.unit_id = water_days.unit_id
        and days.local_date = water_days.local_date
),

counted as (
    select
        time.site_id, time.ward, days.month,
        time.therapy_s, time.water_sum,
        case when time.water_sum is not null then time.therapy_s end as water_s,
        null as patient_day, null as bag, null as hung_ml, null as beside_model_ml, null as dry_min,
    from facts.therapy_time as time
    join run.days using (site_id, local_date)
    union all
    select site_id, ward, month, null, null, null, (patient_key, local_date), null, null, null, null
    from facts.device_days
    union all
    select site_id, ward, month, null, null, null, null, 1, volume_ml, volume_beside_model_ml, dry_therapy_min
    from bags
),

summed as (
    select
        site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month,
        coalesce(sum(therapy_s), 0) as therapy_s,
        sum(water_sum) as water_sum,
        sum(water_s) as water_s,
        count(distinct patient_day) as device_days,
        count(bag) as bags_hung,
        coalesce(sum(cast(round(hung_ml * 1000) as bigint)), 0) as hung_ul,
        coalesce(sum(cast(round(beside_model_ml * 1000) as bigint)), 0) as beside_model_ul,
        sum(cast(round(dry_min * 60000000) as bigint)) as dry_us,
    from counted
    group by grouping sets ((site_id, month, ward), (site_id, month))
),

covered as (
    select summed.*, water_units.per_ml, coverage.site_id is not null as bags_covered,
    from summed
    join run.months using (site_id, month)
    join run.settings using (site_id)
    cross join run.water_units
    left join occupancy.coverage
        on summed.site_id = coverage.site_id
        and coverage.table_name = 'part_changes'
        and coverage.part = 'water_bag'
        and coverage.starts_at < least(months.ends_at, settings.as_of)
        and coverage.ends_at >= least(months.ends_at, settings.as_of)
),

water_monthly as (
    select
        site_id, ward, month,
        therapy_s / 86400.0 as therapy_days,
        device_days,
        case when bags_covered then bags_hung end as bags_hung,
        case when bags_covered then hung_ul / 1000.0 end as water_hung_ml,
        case when bags_covered then 86.4 * hung_ul / nullif(therapy_s, 0) end as water_hung_ml_per_therapy_day,
        water_sum / per_ml as water_modelled_ml,
        water_sum / per_ml / nullif(water_s / 86400.0, 0) as water_modelled_ml_per_therapy_day,
        case when bags_covered then beside_model_ul / 1000.0 / nullif(water_sum / per_ml, 0) end
            as hung_to_modelled,
        case when bags_covered then dry_us / 60000000.0 end as dry_therapy_min,
    from covered
)

select * from water_monthly
