-- title: Logged therapy by patient and local day
-- grain: one row per site_id, unit_id, patient_key, episode_started_at, local_date, basis
-- reads: samples.logged_therapy, samples.unit_segments
-- internal: integer sums that therapy_days, water_monthly and part_need divide once
-- note: A sample goes whole to the patient of its instant; what of it lies past midnight, to the next day.

with

timed as (
    select
        therapy.*,
        date_diff('second', therapy.starts_at, least(therapy.ends_at, segments.day_ends_at)) as day_s,
        date_diff('second', least(therapy.ends_at, segments.day_ends_at), therapy.ends_at) as next_day_s,
        date_diff('second', least(therapy.low_from, segments.day_ends_at), least(therapy.ends_at, segments.day_ends_at))
            as day_low_s,
        date_diff('second', greatest(therapy.low_from, segments.day_ends_at), therapy.ends_at) as next_day_low_s,
    from samples.logged_therapy as therapy
    join samples.unit_segments as segments using (segment_no)
),

sums as (
    select
        segment_no, basis,
        sum(day_s) as day_s,
        sum(next_day_s) as next_day_s,
        sum(flow_ml_min * day_s) as day_flow,
        sum(flow_ml_min * next_day_s) as next_day_flow,
        sum(water_rate * day_s) as day_water,
        sum(water_rate * next_day_s) as next_day_water,
        sum(case when low_from is not null then day_low_s end) as day_low_s,
        sum(case when low_from is not null then greatest(next_day_low_s, 0) end) as next_day_low_s,
    from timed
    group by all
),

by_day as (
    select
        segment_no, basis, 0 as days_on, day_s as therapy_s, day_flow as flow_sum, day_water as water_sum,
        day_low_s as low_s,
    from sums where day_s > 0
    union all
    select segment_no, basis, 1, next_day_s, next_day_flow, next_day_water, next_day_low_s
    from sums where next_day_s > 0
),

therapy_pieces as (
    select
        segments.site_id, segments.unit_id, segments.patient_key, segments.ward, segments.episode_started_at,
        segments.local_date + by_day.days_on as local_date, by_day.basis,
        sum(by_day.therapy_s) as therapy_s,
        sum(by_day.flow_sum) as flow_sum,
        sum(by_day.water_sum) as water_sum,
        sum(by_day.low_s) as low_s,
    from by_day
    join samples.unit_segments as segments using (segment_no)
    group by all
)

select * from therapy_pieces
