-- title: Fittings and issues behind the use of parts
-- grain: one row per fitting, and per issue from the stores
-- reads: facts.part_spans, sources.fitting_rows, settled.stock_moves, records.stock_moves, records.items, run.months
-- internal: an issue counts in the numerator, a fitting in the denominator

with

fitted as (
    select
        spans.site_id, spans.ward, months.month, spans.part, spans.unit_id, spans.patient_key,
        spans.fitted_at as told_at,
        0.0 as numerator, 1.0 as denominator, 'fitted' as why, fitting_rows.sources,
    from facts.part_spans as spans
    join run.months
        on spans.site_id = months.site_id
        and spans.fitted_at >= months.starts_at
        and spans.fitted_at < months.ends_at
    left join sources.fitting_rows on spans.row_no = fitting_rows.row_no
),

move_rows as (
    select
        rows.site_id, rows.move_ref,
        list({'table_name': 'stock_moves', 'file_sha256': rows.file_sha256, 'source_row': rows.source_row}
            order by rows.file_sha256, rows.source_row) as sources,
    from settled.stock_moves as rows
    group by all
),

issued as (
    select
        moves.site_id, moves.location as ward, months.month, items.part, null as unit_id, null as patient_key,
        moves.moved_at as told_at,
        moves.quantity as numerator, 0.0 as denominator, 'issued' as why, move_rows.sources,
    from records.stock_moves as moves
    join records.items using (site_id, item_id)
    join run.months
        on moves.site_id = months.site_id
        and moves.moved_at >= months.starts_at
        and moves.moved_at < months.ends_at
    left join move_rows on moves.site_id = move_rows.site_id and moves.move_ref = move_rows.move_ref
    where moves.kind = 'issue'
),

part_use_monthly as (
    select * from fitted
    union all
    select * from issued
)

select * from part_use_monthly
