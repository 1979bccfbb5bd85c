-- title: Rows behind each disinfection cycle
-- grain: one row per site_id, unit_id, started_at
-- reads: settled.disinfections
-- internal: where a cycle stands in the exports

with

cycle_rows as (
    select
        rows.site_id, rows.unit_id, rows.started_at,
        list(
            {'table_name': 'disinfections', 'file_sha256': rows.file_sha256, 'source_row': rows.source_row}
            order by rows.file_sha256, rows.source_row
        ) as sources,
    from settled.disinfections as rows
    group by all
)

select * from cycle_rows
