-- title: Rows behind each count
-- grain: one row per site_id, unit_id, observed_at
-- reads: settled.count_readings, settled.disinfections
-- internal: where a count stands in the exports, as a reading or at a cycle's end

with

told as (
    select
        rows.site_id, rows.unit_id, rows.read_at as observed_at,
        {'table_name': 'count_readings', 'file_sha256': rows.file_sha256, 'source_row': rows.source_row} as source,
    from settled.count_readings as rows
    union all
    select
        rows.site_id, rows.unit_id, rows.ended_at,
        {'table_name': 'disinfections', 'file_sha256': rows.file_sha256, 'source_row': rows.source_row},
    from settled.disinfections as rows
    where rows.cycle_count is not null
),

count_rows as (
    select site_id, unit_id, observed_at, list(source order by source) as sources from told group by all
)

select * from count_rows
