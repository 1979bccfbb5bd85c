-- title: Rows behind each set-up check
-- grain: one row per site_id, unit_id, step, checked_at
-- reads: settled.setup_checks
-- internal: where a check of a step stands in the exports

with

check_rows as (
    select
        rows.site_id, rows.unit_id, rows.step, rows.checked_at,
        list(
            {'table_name': 'setup_checks', 'file_sha256': rows.file_sha256, 'source_row': rows.source_row}
            order by rows.file_sha256, rows.source_row
        ) as sources,
    from settled.setup_checks as rows
    group by all
)

select * from check_rows
