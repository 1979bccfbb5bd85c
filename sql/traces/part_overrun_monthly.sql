-- title: Spans behind the overruns
-- grain: one row per fitting; undecided ones in the month of the fitting
-- reads: facts.part_spans, sources.fitting_rows, run.months
-- internal: the part change that each span comes from

with

part_overrun_monthly as (
    select
        spans.site_id, spans.ward, months.month, spans.part, spans.unit_id, spans.patient_key,
        spans.fitted_at as told_at,
        cast(spans.outcome = 'overrun' as double) as numerator,
        cast(spans.decided_at is not null as double) as denominator,
        spans.outcome as why,
        fitting_rows.sources,
    from facts.part_spans as spans
    join run.months
        on spans.site_id = months.site_id
        and coalesce(spans.decided_at, spans.fitted_at) >= months.starts_at
        and coalesce(spans.decided_at, spans.fitted_at) < months.ends_at
    left join sources.fitting_rows on spans.row_no = fitting_rows.row_no
)

select * from part_overrun_monthly
