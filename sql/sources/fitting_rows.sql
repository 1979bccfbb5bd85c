-- title: Rows behind each fitting
-- grain: one row per row_no (the fitting)
-- reads: records.part_changes, settled.part_changes, run.patient_merges
-- internal: where a part change stands in the exports

with

rows as (
    select rows.*, coalesce(merges.new_key, rows.patient_key) as merged_key,
    from settled.part_changes as rows
    left join run.patient_merges as merges
        on rows.site_id = merges.site_id and rows.patient_key = merges.old_key
),

fitting_rows as (
    select
        changes.row_no,
        list(
            {'table_name': 'part_changes', 'file_sha256': rows.file_sha256, 'source_row': rows.source_row}
            order by rows.file_sha256, rows.source_row
        ) as sources,
    from records.part_changes as changes
    join rows
        on changes.site_id = rows.site_id
        and changes.part = rows.part
        and changes.fitted_at = rows.fitted_at
        and changes.unit_id is not distinct from rows.unit_id
        and changes.patient_key is not distinct from rows.merged_key
        and changes.source_ref is not distinct from rows.source_ref
    group by changes.row_no
)

select * from fitting_rows
