-- title: Stays behind the turnaround
-- grain: one row per ended stay that is not overlapping
-- reads: facts.turnarounds, facts.unit_stays, sources.stay_rows, sources.cycle_rows, run.months
-- internal: the stay, and the cycle that made its unit ready

with

turnaround_monthly as (
    select
        turnarounds.site_id, turnarounds.ward, months.month, null as part, turnarounds.unit_id,
        turnarounds.patient_key, turnarounds.ended_at as told_at,
        cast(turnarounds.status = 'reprocessed' as double) as numerator,
        cast(turnarounds.status <> 'not_assessable' as double) as denominator,
        turnarounds.status as why,
        list_concat(stay_rows.sources, cycle_rows.sources) as sources,
    from facts.turnarounds
    join run.months
        on turnarounds.site_id = months.site_id
        and turnarounds.ended_at >= months.starts_at
        and turnarounds.ended_at < months.ends_at
    join facts.unit_stays as stays
        on turnarounds.site_id = stays.site_id
        and turnarounds.unit_id = stays.unit_id
        and turnarounds.patient_key = stays.patient_key
        and turnarounds.ended_at = stays.ended_at
        and not stays.overlapping
    left join sources.stay_rows
        on stays.site_id = stay_rows.site_id
        and stays.unit_id = stay_rows.unit_id
        and stays.stay_no = stay_rows.stay_no
    left join sources.cycle_rows
        on turnarounds.site_id = cycle_rows.site_id
        and turnarounds.unit_id = cycle_rows.unit_id
        and turnarounds.cycle_started_at = cycle_rows.started_at
)

select * from turnaround_monthly
