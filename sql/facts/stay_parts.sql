-- title: What each stay took of each part
-- section: planning
-- grain: one row per site_id, unit_id, stay_no, part
-- reads: facts.patient_stays, facts.stay_episodes, facts.therapy_time, facts.part_outcomes, run.part_rules,
-- reads: run.water_units
-- note: Names no patient. Planning asks again how many parts other rules would require of the same stays.
-- note: A fitting counts once, for the first stay that it served; unlogged_s is therapy without modelled water.

with

stay_time as (
    select site_id, unit_id, stay_no, cast(sum(date_diff('second', started_at, until)) as bigint) as stay_s,
    from facts.stay_episodes group by all
),

stay_water as (
    select
        episodes.site_id, episodes.unit_id, episodes.stay_no,
        sum(time.water_sum) as water_sum,
        cast(sum(time.therapy_s) filter (where time.water_sum is not null) as bigint) as logged_s,
        cast(sum(time.therapy_s) filter (where time.water_sum is null) as bigint) as unlogged_s,
    from facts.stay_episodes as episodes
    join facts.therapy_time as time
        on episodes.site_id = time.site_id
        and episodes.unit_id = time.unit_id
        and episodes.patient_key = time.patient_key
        and episodes.started_at = time.episode_started_at
    group by all
),

first_stays as (
    select
        outcomes.row_no, outcomes.part, stays.site_id, stays.unit_id, stays.stay_no,
    from facts.part_outcomes as outcomes
    join facts.patient_stays as stays
        on outcomes.site_id = stays.site_id
        and outcomes.first_patient_key = stays.patient_key
        and outcomes.first_unit_id = stays.unit_id
        and outcomes.fitted_at < coalesce(stays.ended_at, outcomes.as_of)
        and outcomes.in_place_until > stays.started_at
    qualify row_number() over (partition by outcomes.row_no order by stays.started_at, stays.stay_no) = 1
),

first_fittings as (
    select site_id, unit_id, stay_no, part, count(*) as fitted from first_stays group by all
),

stay_parts as (
    select
        stays.site_id, stays.ward, stays.unit_id, stays.stay_no, part_rules.part, stays.started_at, stays.ended_at,
        stays.overlapping, stay_time.stay_s,
        stay_water.water_sum / water_units.per_ml as water_ml,
        coalesce(stay_water.logged_s, 0) as logged_s,
        coalesce(stay_water.unlogged_s, 0) as unlogged_s,
        coalesce(first_fittings.fitted, 0) as fitted,
    from facts.patient_stays as stays
    join stay_time using (site_id, unit_id, stay_no)
    join run.part_rules using (site_id)
    cross join run.water_units
    left join stay_water using (site_id, unit_id, stay_no)
    left join first_fittings using (site_id, unit_id, stay_no, part)
)

select * from stay_parts
