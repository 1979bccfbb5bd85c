-- title: Episodes and the stay each belongs to
-- grain: one row per site_id, unit_id, patient_key, started_at
-- reads: occupancy.effective_episodes, facts.disinfection_cycles, run.settings
-- internal: numbers the stays; patient_stays sums them up
-- note: A stay goes on with the same patient's next episode within stay_gap_h and no valid cycle between.

with

in_order as (
    select
        episodes.*, settings.stay_gap, settings.clock_slack,
        patient_key is distinct from lag(patient_key) over (
            partition by site_id, unit_id order by started_at, patient_key
        ) as other_patient,
    from occupancy.effective_episodes as episodes
    join run.settings using (site_id)
),

patient_runs as (
    select
        *,
        sum(cast(other_patient as int)) over (
            partition by site_id, unit_id order by started_at, patient_key
        ) as patient_run,
    from in_order
),

with_last_end as (
    select
        *,
        max(until) over (
            partition by site_id, unit_id, patient_run order by started_at
            rows between unbounded preceding and 1 preceding
        ) as last_end,
    from patient_runs
),

valid_cycles as (
    select site_id, unit_id, started_at, ended_at from facts.disinfection_cycles where valid
),

returns as (
    select
        with_last_end.site_id, with_last_end.unit_id, with_last_end.patient_key, with_last_end.started_at,
        count(valid_cycles.started_at) > 0 as disinfected_before,
    from with_last_end
    left join valid_cycles
        on with_last_end.site_id = valid_cycles.site_id
        and with_last_end.unit_id = valid_cycles.unit_id
        and valid_cycles.started_at >= with_last_end.last_end - with_last_end.clock_slack
        and valid_cycles.ended_at <= with_last_end.started_at + with_last_end.clock_slack
    where with_last_end.last_end is not null
    group by all
),

with_begins as (
    select
        with_last_end.*,
        last_end is null
            or with_last_end.started_at - last_end > stay_gap
            or coalesce(returns.disinfected_before, false) as begins_stay,
    from with_last_end
    left join returns using (site_id, unit_id, patient_key, started_at)
),

stay_episodes as (
    select
        site_id, unit_id, patient_key, ward, started_at, ended_at, until, overlapping,
        cast(sum(cast(begins_stay as int)) over (
            partition by site_id, unit_id order by started_at, patient_key
        ) as bigint) as stay_no,
    from with_begins
)

select * from stay_episodes
