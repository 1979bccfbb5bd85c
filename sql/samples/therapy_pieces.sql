-- title: Logged therapy by patient and local day
-- grain: one row per site_id, unit_id, patient_key, episode_started_at, local_date, basis
-- reads: samples.logged_therapy, occupancy.unit_occupancy, run.days
-- internal: integer sums that therapy_days, water_monthly and part_need divide once
-- note: A sample goes whole to the patient of its instant; a session is cut where episodes start and end.

with

samples_with_patient as (
    select
        therapy.*,
        case when therapy.starts_at < occupancy.ends_at then occupancy.patient_key end as patient_key,
        case when therapy.starts_at < occupancy.ends_at then occupancy.ward end as ward,
        case when therapy.starts_at < occupancy.ends_at then occupancy.episode_started_at end
            as episode_started_at,
    from samples.logged_therapy as therapy
    asof left join occupancy.unit_occupancy as occupancy
        on therapy.site_id = occupancy.site_id
        and therapy.unit_id = occupancy.unit_id
        and therapy.starts_at >= occupancy.starts_at
    where therapy.basis = 'samples'
),

-- The day of the start, and what of the piece lies past its midnight.
with_day as (
    select
        pieces.*, days.local_date,
        date_diff('second', pieces.starts_at, least(pieces.ends_at, days.ends_at)) as day_s,
        date_diff('second', least(pieces.ends_at, days.ends_at), pieces.ends_at) as next_day_s,
    from samples_with_patient as pieces
    asof join run.days on pieces.site_id = days.site_id and pieces.starts_at >= days.starts_at
),

sample_sums as (
    select
        site_id, unit_id, patient_key, ward, episode_started_at, local_date,
        sum(day_s) as day_s,
        sum(next_day_s) as next_day_s,
        sum(flow_ml_min * day_s) as day_flow,
        sum(flow_ml_min * next_day_s) as next_day_flow,
        sum(water_rate * day_s) as day_water,
        sum(water_rate * next_day_s) as next_day_water,
        sum(cast(low_humidity as int) * day_s) as day_low_s,
        sum(cast(low_humidity as int) * next_day_s) as next_day_low_s,
    from with_day
    group by all
),

session_parts as (
    select
        sessions.site_id, sessions.unit_id, occupancy.patient_key, occupancy.ward,
        occupancy.episode_started_at, sessions.starts_at, sessions.flow_ml_min, sessions.water_rate,
        date_diff(
            'second',
            greatest(sessions.starts_at, occupancy.starts_at),
            least(sessions.ends_at, occupancy.ends_at)
        ) as part_s,
        date_diff('second', sessions.starts_at, sessions.ends_at) as session_s,
    from samples.logged_therapy as sessions
    left join occupancy.unit_occupancy as occupancy
        on sessions.site_id = occupancy.site_id
        and sessions.unit_id = occupancy.unit_id
        and sessions.starts_at < occupancy.ends_at
        and sessions.ends_at > occupancy.starts_at
    where sessions.basis = 'sessions'
),

session_pieces as (
    select site_id, unit_id, patient_key, ward, episode_started_at, starts_at, flow_ml_min, water_rate, part_s,
    from session_parts where patient_key is not null
    union all
    select
        site_id, unit_id, null, null, null, starts_at, flow_ml_min, water_rate,
        any_value(session_s) - coalesce(sum(part_s), 0),
    from session_parts
    group by site_id, unit_id, starts_at, flow_ml_min, water_rate
),

pieces as (
    select
        site_id, unit_id, patient_key, ward, episode_started_at, local_date, 'samples' as basis,
        day_s as therapy_s, day_flow as flow_sum, day_water as water_sum, day_low_s as low_s,
    from sample_sums
    union all
    select
        site_id, unit_id, patient_key, ward, episode_started_at, local_date + 1, 'samples',
        next_day_s, next_day_flow, next_day_water, next_day_low_s,
    from sample_sums
    union all
    select
        pieces.site_id, pieces.unit_id, pieces.patient_key, pieces.ward, pieces.episode_started_at,
        days.local_date, 'sessions',
        pieces.part_s, pieces.flow_ml_min * pieces.part_s, pieces.water_rate * pieces.part_s, null,
    from session_pieces as pieces
    asof join run.days on pieces.site_id = days.site_id and pieces.starts_at >= days.starts_at
),

therapy_pieces as (
    select
        site_id, unit_id, patient_key, ward, episode_started_at, local_date, basis,
        sum(therapy_s) as therapy_s, sum(flow_sum) as flow_sum, sum(water_sum) as water_sum, sum(low_s) as low_s,
    from pieces
    where therapy_s > 0
    group by all
)

select * from therapy_pieces
