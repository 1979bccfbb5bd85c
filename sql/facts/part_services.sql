-- title: Episodes that a fitting served
-- grain: one row per row_no (the fitting), position
-- reads: facts.part_fittings, occupancy.effective_episodes
-- internal: which patients a part was on
-- note: A short meeting with part of another patient's episode is charting slip, not service.
-- note: The same patient's return after more than stay_gap_h ends the service.

with

meetings as (
    select
        fittings.row_no, fittings.charting_slack, fittings.stay_gap,
        episodes.patient_key, episodes.unit_id, episodes.ward, episodes.started_at, episodes.ended_at, episodes.until,
        date_diff(
            'second',
            greatest(fittings.fitted_at, episodes.started_at),
            least(coalesce(fittings.hard_ended_at, fittings.horizon), episodes.until)
        ) as overlap_s,
        date_diff('second', episodes.started_at, episodes.until) as episode_s,
    from facts.part_fittings as fittings
    join occupancy.effective_episodes as episodes
        on fittings.site_id = episodes.site_id
        and fittings.follows_id = case fittings.follows
            when 'unit' then episodes.unit_id else episodes.patient_key end
        and episodes.started_at < coalesce(fittings.hard_ended_at, fittings.horizon)
        and episodes.until > fittings.fitted_at
    where not episodes.overlapping
        and coalesce(fittings.hard_ended_at, fittings.horizon) > fittings.fitted_at
        and episodes.until > episodes.started_at
),

by_patient as (
    select row_no, patient_key, sum(overlap_s) as overlap_s, min(started_at) as first_at,
    from meetings group by all
),

main_patients as (
    select row_no, patient_key as main_key,
    from by_patient
    qualify row_number() over (
        partition by row_no order by overlap_s desc, first_at, patient_key
    ) = 1
),

counted as (
    select meetings.*,
    from meetings
    join main_patients using (row_no)
    where meetings.patient_key = main_patients.main_key
        or to_seconds(meetings.overlap_s) > meetings.charting_slack
        or meetings.overlap_s >= meetings.episode_s
),

with_cuts as (
    select
        *,
        lag(patient_key) over service_order = patient_key
            and started_at - max(until) over (
                partition by row_no, patient_key order by started_at
                rows between unbounded preceding and 1 preceding
            ) > stay_gap as comes_back_late,
    from counted
    window service_order as (partition by row_no order by started_at, patient_key)
),

in_order as (
    select
        *,
        row_number() over service_order as position,
        sum(cast(coalesce(comes_back_late, false) as int)) over service_order as cuts,
    from with_cuts
    window service_order as (partition by row_no order by started_at, patient_key)
),

part_services as (
    select row_no, position, patient_key, unit_id, ward, started_at, ended_at, until
    from in_order where cuts = 0
)

select * from part_services
