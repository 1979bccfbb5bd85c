-- title: Accepted rows that need a second look
-- section: 2
-- grain: one row per site_id, warning, table_name, unit_id, patient_key, warned_at
-- reads: occupancy.effective_episodes, facts.part_rows
-- note: Warnings that only show when the tables stand beside each other.

with

record_warnings as (
    select site_id, 'missing_end' as warning, 'episodes' as table_name, unit_id, patient_key, started_at as warned_at,
    from occupancy.effective_episodes where end_missing
    union all
    select site_id, 'overlapping_episode', 'episodes', unit_id, patient_key, started_at
    from occupancy.effective_episodes where overlapping
    union all
    select site_id, 'unlinked', 'part_changes', unit_id, patient_key, fitted_at
    from facts.part_rows
    where case follows when 'unit' then unit_id else patient_key end is null
)

select * from record_warnings
