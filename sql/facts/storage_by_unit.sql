-- title: Storage protection and status tag after disinfection
-- section: 4.4
-- question: Do the records say that disinfected units were stored protected, with their status tag?
-- grain: one row per site_id, place, unit_id, month of passed cycles; a place is the sum of its units
-- reads: facts.disinfection_cycles, records.units, run.months
-- note: The place is the unit's own ward in the list of units, empty where the list gives none.
-- note: Unknown is a cycle whose record says neither yes nor no; it is not counted as a no.

with

cycles as (
    select
        cycles.site_id, units.ward as place, cycles.unit_id, months.month,
        cycles.storage_protected, cycles.status_tagged,
    from facts.disinfection_cycles as cycles
    left join records.units using (site_id, unit_id)
    join run.months
        on cycles.site_id = months.site_id
        and cycles.started_at >= months.starts_at
        and cycles.started_at < months.ends_at
    where cycles.outcome = 'passed'
),

storage_by_unit as (
    select
        site_id, place, unit_id, month,
        count(*) as cycles,
        count(*) filter (where storage_protected) as protected,
        count(*) filter (where not storage_protected) as not_protected,
        count(*) filter (where storage_protected is null) as protection_unknown,
        count(*) filter (where status_tagged) as tagged,
        count(*) filter (where not status_tagged) as not_tagged,
        count(*) filter (where status_tagged is null) as tag_unknown,
    from cycles
    group by all
)

select * from storage_by_unit
