-- title: Powered runs and warm-up
-- section: 4.11
-- hidden: early_s
-- grain: one row per site_id, unit_id, powered_at
-- reads: samples.powered_spells, samples.logged_therapy, occupancy.unit_occupancy, records.units, run.settings
-- note: Target is the set dew point, else the rule, less 0.5 °C.
-- note: The ward is the patient's when use began, else the unit's own.

with

early_use as (
    select
        spells.site_id, spells.unit_id, spells.powered_at,
        sum(date_diff('second', therapy.starts_at, therapy.ends_at)) as early_s,
    from samples.powered_spells as spells
    join samples.logged_therapy as therapy using (site_id, unit_id, powered_at)
    where coalesce(therapy.starts_at < spells.target_reached_at, true)
    group by all
),

with_patient as (
    select
        spells.*,
        case when coalesce(spells.in_use_from, spells.powered_at) < occupancy.ends_at then occupancy.ward end
            as patient_ward,
    from samples.powered_spells as spells
    asof left join occupancy.unit_occupancy as occupancy
        on spells.site_id = occupancy.site_id
        and spells.unit_id = occupancy.unit_id
        and coalesce(spells.in_use_from, spells.powered_at) >= occupancy.starts_at
),

powered_runs as (
    select
        spells.site_id, coalesce(spells.patient_ward, units.ward) as ward, spells.unit_id,
        spells.powered_at, spells.ended_at, spells.first_dew_point_c, spells.target_reached_at,
        date_diff('second', spells.powered_at, spells.target_reached_at) / 60.0 as warmup_min,
        spells.in_use_from,
        coalesce(early_use.early_s, 0) / 60.0 as in_use_before_target_min,
        coalesce(early_use.early_s, 0) as early_s,
    from with_patient as spells
    left join early_use using (site_id, unit_id, powered_at)
    left join records.units on spells.site_id = units.site_id and spells.unit_id = units.unit_id
)

select * from powered_runs
