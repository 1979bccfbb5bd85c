-- title: Part changes with the unit or patient each belongs to
-- grain: one row per part change
-- reads: records.part_changes, occupancy.effective_episodes, run.part_rules, run.settings
-- internal: finds the unit or the patient that a row leaves out
-- note: Latest episode that began no later than the slack after the fitting and had not ended by then;
-- note: for a part that follows its patient, else the first that begins within the preparation window.

with

rows as (
    select
        changes.*, part_rules.follows, part_rules.per_patient, part_rules.clock,
        part_rules.max_s, part_rules.max_days,
        changes.fitted_at + settings.charting_slack as started_by,
        changes.fitted_at + settings.prep_window as prepared_until,
    from records.part_changes as changes
    join run.part_rules using (site_id, part)
    join run.settings using (site_id)
),

unit_of_patient as (
    select rows.row_no, arg_max(episodes.unit_id, (episodes.started_at, episodes.unit_id)) as unit_id,
    from rows
    join occupancy.effective_episodes as episodes
        on rows.site_id = episodes.site_id
        and rows.patient_key = episodes.patient_key
        and episodes.started_at <= rows.started_by
        and coalesce(episodes.ended_at > rows.fitted_at, true)
    where rows.follows = 'unit' and rows.unit_id is null
    group by rows.row_no
),

patient_on_unit as (
    select rows.row_no, arg_max(episodes.patient_key, (episodes.started_at, episodes.patient_key)) as patient_key,
    from rows
    join occupancy.effective_episodes as episodes
        on rows.site_id = episodes.site_id
        and rows.unit_id = episodes.unit_id
        and episodes.started_at <= rows.started_by
        and coalesce(episodes.ended_at > rows.fitted_at, true)
    where rows.follows = 'patient' and rows.patient_key is null
    group by rows.row_no
),

patient_to_come as (
    select rows.row_no, arg_min(episodes.patient_key, (episodes.started_at, episodes.patient_key)) as patient_key,
    from rows
    join occupancy.effective_episodes as episodes
        on rows.site_id = episodes.site_id
        and rows.unit_id = episodes.unit_id
        and episodes.started_at > rows.fitted_at
        and episodes.started_at <= rows.prepared_until
    where rows.follows = 'patient' and rows.patient_key is null
    group by rows.row_no
),

part_rows as (
    select
        rows.* replace (
            coalesce(rows.unit_id, unit_of_patient.unit_id) as unit_id,
            coalesce(rows.patient_key, patient_on_unit.patient_key, patient_to_come.patient_key) as patient_key
        ),
    from rows
    left join unit_of_patient using (row_no)
    left join patient_on_unit using (row_no)
    left join patient_to_come using (row_no)
)

select * from part_rows
