-- title: Worklist
-- section: 4.13
-- hidden: urgency, row_no
-- grain: one row per kind, unit and, for a part, its fitting
-- reads: facts.part_tasks, facts.bag_levels, facts.unit_tasks, facts.unit_places, run.settings
-- note: Absence from the list does not clear a unit; the bag's level is an estimate, so look at the bag.
-- note: since_h counts from the limit (part_overdue), fitting (part_due, prepared_check), hanging (bag_low), end of
-- note: the stay (disinfect), start of the stay (in_use_unproven) or last count (count_missing).
-- note: Order of urgency: what concerns a patient on the unit now, then units, then records; in each by due_at.

with

ranks as (
    select * from (
        values ('in_use_unproven', 1), ('bag_low', 2), ('part_overdue', 3), ('part_due', 4),
            ('disinfect', 5), ('prepared_check', 6), ('count_missing', 7)
    ) as ranks (kind, rank)
),

bags_low as (
    select
        'bag_low' as kind, levels.row_no, levels.site_id, levels.unit_id, 'water_bag' as part, places.patient_key,
        levels.empty_at as due_at, levels.hung_at as since_at,
    from facts.bag_levels as levels
    join run.settings using (site_id)
    left join facts.unit_places as places using (site_id, unit_id)
    where levels.empty_at <= settings.as_of + interval 12 hours
),

tasks as (
    select * from facts.part_tasks
    union all by name
    select * from bags_low
    union all by name
    select *, null as part, null as row_no from facts.unit_tasks
),

worklist as (
    select
        tasks.site_id, tasks.kind, places.ward, tasks.unit_id, tasks.part, tasks.patient_key, tasks.due_at,
        date_diff('second', tasks.since_at, settings.as_of) / 3600.0 as since_h,
        row_number() over (
            order by ranks.rank, tasks.due_at, tasks.site_id, places.ward, tasks.unit_id, tasks.part, tasks.since_at,
                tasks.row_no
        ) as urgency,
        tasks.row_no,
    from tasks
    join ranks using (kind)
    join run.settings using (site_id)
    left join facts.unit_places as places using (site_id, unit_id)
)

select * from worklist
