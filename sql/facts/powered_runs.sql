-- title: Powered runs and warm-up
-- section: 4.11
-- hidden: early_s
-- grain: one row per site_id, unit_id, powered_at
-- reads: samples.powered_spells, samples.logged_therapy, samples.unit_numbers, occupancy.unit_occupancy,
-- reads: records.units
-- note: Target is the set dew point, else the rule, less 0.5 °C.
-- note: The ward is the patient's when use began, else the unit's own.

with

early_use as (
    select
        spells.unit_no, spells.powered_at,
        sum(date_diff('second', therapy.starts_at, therapy.ends_at)) as early_s,
    from samples.powered_spells as spells
    join samples.logged_therapy as therapy
        on spells.unit_no = therapy.unit_no
        and therapy.starts_at >= spells.in_use_from
        and therapy.starts_at < coalesce(spells.target_reached_at, spells.ended_at)
    where therapy.basis = 'samples'
    group by all
),

with_patient as (
    select
        units.site_id, units.unit_id, spells.*,
        case when coalesce(spells.in_use_from, spells.powered_at) < occupancy.ends_at then occupancy.ward end
            as patient_ward,
    from samples.powered_spells as spells
    join samples.unit_numbers as units using (unit_no)
    asof left join occupancy.unit_occupancy as occupancy
        on units.site_id = occupancy.site_id
        and units.unit_id = occupancy.unit_id
        and coalesce(spells.in_use_from, spells.powered_at) >= occupancy.starts_at
),

with_early_use as (
    select
        with_patient.*,
        -- Without a dew point nothing tells whether the target was reached.
        case when with_patient.first_centi_c is not null then coalesce(early_use.early_s, 0) end as early_s,
    from with_patient
    left join early_use using (unit_no, powered_at)
),

powered_runs as (
    select
        spells.site_id, coalesce(spells.patient_ward, units.ward) as ward, spells.unit_id,
        spells.powered_at, spells.ended_at, spells.first_centi_c / 100.0 as first_dew_point_c, spells.target_reached_at,
        date_diff('second', spells.powered_at, spells.target_reached_at) / 60.0 as warmup_min,
        spells.in_use_from,
        spells.early_s / 60.0 as in_use_before_target_min,
        spells.early_s,
    from with_early_use as spells
    left join records.units on spells.site_id = units.site_id and spells.unit_id = units.unit_id
)

select * from powered_runs
