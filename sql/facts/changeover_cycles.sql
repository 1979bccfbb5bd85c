-- title: Cycles between the two stays of a changeover
-- grain: one row per site_id, unit_id, stay_no of the later stay, where any cycle began between
-- reads: facts.unit_stays, facts.disinfection_cycles, run.settings
-- internal: the latest valid cycle, and whether there was any

with

cycles as (
    select
        stays.site_id, stays.unit_id, stays.stay_no, cycles.started_at, cycles.ended_at,
        coalesce(cycles.storage_protected and cycles.status_tagged, false) as storage_proven,
        cycles.valid and cycles.ended_at <= stays.started_at + settings.clock_slack as valid_between,
    from facts.unit_stays as stays
    join run.settings using (site_id)
    join facts.disinfection_cycles as cycles
        on stays.site_id = cycles.site_id
        and stays.unit_id = cycles.unit_id
        and cycles.started_at >= stays.previous_ended_at - settings.clock_slack
        and cycles.started_at <= stays.started_at + settings.clock_slack
    where stays.previous_key <> stays.patient_key
),

changeover_cycles as (
    select
        site_id, unit_id, stay_no,
        max(ended_at) filter (where valid_between) as valid_ended_at,
        arg_max(storage_proven, ended_at) filter (where valid_between) as storage_proven,
    from cycles
    group by all
)

select * from changeover_cycles
