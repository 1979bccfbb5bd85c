-- title: Rows behind each stay
-- grain: one row per site_id, unit_id, stay_no
-- reads: facts.stay_episodes, settled.episodes
-- internal: where the episodes of a stay stand in the exports

with

stay_rows as (
    select
        stays.site_id, stays.unit_id, stays.stay_no,
        list(
            {'table_name': 'episodes', 'file_sha256': rows.file_sha256, 'source_row': rows.source_row}
            order by rows.file_sha256, rows.source_row
        ) as sources,
    from facts.stay_episodes as stays
    join settled.episodes as rows using (site_id, unit_id, started_at)
    group by all
)

select * from stay_rows
