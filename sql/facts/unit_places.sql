-- title: Where each unit is at as_of
-- grain: one row per site_id, unit_id
-- reads: occupancy.effective_episodes, records.units
-- internal: the patient now on a unit, and its ward: that of its latest episode, else its own
-- note: Of several open episodes the one that started last counts.

with

latest as (
    select
        site_id, unit_id, ward, started_at,
        case when ended_at is null then patient_key end as patient_key,
        ended_at is null as occupied,
    from occupancy.effective_episodes
    qualify row_number() over (
        partition by site_id, unit_id order by ended_at is null desc, started_at desc, patient_key desc
    ) = 1
),

units as (
    select site_id, unit_id from records.units
    union
    select site_id, unit_id from latest
),

unit_places as (
    select
        units.site_id, units.unit_id,
        coalesce(latest.ward, listed.ward) as ward,
        latest.patient_key,
        coalesce(latest.occupied, false) as occupied,
        latest.started_at as last_started_at,
    from units
    left join latest using (site_id, unit_id)
    left join records.units as listed using (site_id, unit_id)
)

select * from unit_places
