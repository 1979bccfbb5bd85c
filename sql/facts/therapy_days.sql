-- title: Therapy by unit, patient and local day
-- section: 4.9
-- grain: one row per site_id, ward, unit_id, patient_key, local_date, basis
-- reads: facts.therapy_time, run.water_units
-- note: From samples; on a unit's day without samples from sessions; without either from episodes.
-- note: The water is a model (ideal gas, IAPWS vapour pressure), not a measurement.

with

therapy_days as (
    select
        time.site_id, time.ward, time.unit_id, time.patient_key, time.local_date, time.basis,
        sum(time.therapy_s) / 3600.0 as therapy_h,
        sum(time.flow_sum) / (sum(time.therapy_s) * 1000.0) as mean_flow_l_min,
        sum(time.water_sum) / any_value(water_units.per_ml) as water_modelled_ml,
        sum(time.low_s) / 3600.0 as low_humidity_h,
    from facts.therapy_time as time
    cross join run.water_units
    group by time.site_id, time.ward, time.unit_id, time.patient_key, time.local_date, time.basis
)

select * from therapy_days
