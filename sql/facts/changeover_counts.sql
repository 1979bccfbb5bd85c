-- title: What the counter says of a changeover
-- grain: one row per site_id, unit_id, stay_no of the later stay, where both counts are known
-- reads: facts.unit_stays, facts.known_counts, records.disinfections, run.settings
-- internal: counted cycles against recorded ones, from the last count of the earlier stay to the first after it

with

windows as (
    select
        stays.site_id, stays.unit_id, stays.stay_no,
        stays.previous_started_at - settings.prep_window as first_from,
        stays.previous_ended_at as first_to,
        stays.started_at + settings.charting_slack as second_to,
    from facts.unit_stays as stays
    join run.settings using (site_id)
    where stays.previous_key <> stays.patient_key and settings.counter_counts = 'passed'
),

ends as (
    select
        windows.site_id, windows.unit_id, windows.stay_no,
        max(counts.observation_no) filter (
            where counts.observed_at >= windows.first_from and counts.observed_at <= windows.first_to
        ) as first_no,
        min(counts.observation_no) filter (
            where counts.observed_at > windows.first_to and counts.observed_at <= windows.second_to
        ) as second_no,
    from windows
    join facts.known_counts as counts using (site_id, unit_id)
    group by all
),

changeover_counts as (
    select
        ends.site_id, ends.unit_id, ends.stay_no,
        second.cycle_count - first.cycle_count as counted,
        count(cycles.started_at) as recorded,
    from ends
    join facts.known_counts as first
        on ends.site_id = first.site_id
        and ends.unit_id = first.unit_id
        and ends.first_no = first.observation_no
    join facts.known_counts as second
        on ends.site_id = second.site_id
        and ends.unit_id = second.unit_id
        and ends.second_no = second.observation_no
    left join records.disinfections as cycles
        on ends.site_id = cycles.site_id
        and ends.unit_id = cycles.unit_id
        and cycles.outcome = 'passed'
        and cycles.ended_at > first.observed_at
        and cycles.ended_at <= second.observed_at
    group by ends.site_id, ends.unit_id, ends.stay_no, first.cycle_count, second.cycle_count
)

select * from changeover_counts
