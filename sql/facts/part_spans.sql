-- title: Part spans
-- section: 4.2
-- hidden: row_no, in_place_until, volume_ml, item_id
-- grain: one row per fitting that belongs to a unit or a patient
-- reads: facts.part_outcomes, facts.part_services, occupancy.effective_episodes, records.units
-- note: Time in place runs from the fitting to the span's end, else to the horizon of the records.
-- note: The ward is that of the patient served when the outcome was decided.

with

spans as (
    select
        *,
        coalesce(decided_at, as_of) as ward_at,
        case when follows = 'patient' then coalesce(first_unit_id, unit_id) else unit_id end as span_unit_id,
    from facts.part_outcomes
),

served_wards as (
    select spans.row_no, arg_max(services.ward, (services.started_at, services.patient_key)) as ward,
    from spans
    join facts.part_services as services using (row_no)
    where services.started_at <= spans.ward_at
    group by spans.row_no
),

unit_wards as (
    select spans.row_no, arg_max(episodes.ward, (episodes.started_at, episodes.patient_key)) as ward,
    from spans
    join occupancy.effective_episodes as episodes
        on spans.site_id = episodes.site_id
        and spans.span_unit_id = episodes.unit_id
        and episodes.started_at <= spans.ward_at
    group by spans.row_no
),

part_spans as (
    select
        spans.site_id,
        coalesce(served_wards.ward, unit_wards.ward, units.ward) as ward,
        spans.span_unit_id as unit_id, spans.part, spans.lot,
        coalesce(spans.first_patient_key, spans.patient_key) as patient_key,
        spans.fitted_at, spans.ended_at, spans.end_evidence, spans.limit_at, spans.decided_at, spans.outcome,
        date_diff('second', spans.fitted_at, spans.in_place_until) / 3600.0 as in_place_h,
        spans.overrun_s / 3600.0 as overrun_h,
        spans.due, spans.carried_over,
        spans.row_no, spans.in_place_until, spans.volume_ml, spans.item_id,
    from spans
    left join served_wards using (row_no)
    left join unit_wards using (row_no)
    left join records.units on spans.site_id = units.site_id and spans.span_unit_id = units.unit_id
)

select * from part_spans
