-- title: Lots and the patients they reached
-- section: 4.13
-- grain: one row per fitting with a lot and patient served
-- reads: facts.part_spans, facts.part_services
-- note: The list is where to start: check the records of each person named.

with

lots as (
    select distinct
        spans.site_id, spans.lot, spans.item_id, spans.part, spans.unit_id, spans.ward,
        services.patient_key, spans.fitted_at, spans.ended_at,
    from facts.part_spans as spans
    join facts.part_services as services using (row_no)
    where spans.lot is not null
)

select * from lots
