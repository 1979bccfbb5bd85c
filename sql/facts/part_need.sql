-- title: Parts that the rules require of a stay
-- section: 4.12
-- grain: one row per stay and part that has a limit
-- reads: facts.patient_stays, facts.stay_episodes, facts.therapy_time, facts.part_outcomes, run.part_rules,
-- reads: run.settings, run.water_units
-- note: At least one, one more for each started limit of time; water bags also by the modelled water.

with

stay_time as (
    select site_id, unit_id, stay_no, sum(date_diff('second', started_at, until)) as stay_s,
    from facts.stay_episodes group by all
),

stay_water as (
    select episodes.site_id, episodes.unit_id, episodes.stay_no, sum(time.water_sum) as water_sum,
    from facts.stay_episodes as episodes
    join facts.therapy_time as time
        on episodes.site_id = time.site_id
        and episodes.unit_id = time.unit_id
        and episodes.patient_key = time.patient_key
        and episodes.started_at = time.episode_started_at
    group by all
),

needs as (
    select
        stays.*, part_rules.part, part_rules.follows,
        coalesce(stays.ended_at, settings.as_of) as until,
        greatest(
            1,
            ceil(stay_time.stay_s / part_rules.max_s),
            case when part_rules.part = 'water_bag'
                then ceil(stay_water.water_sum / (settings.bag_volume_ml * water_units.per_ml)) end
        ) as needed,
    from facts.patient_stays as stays
    join stay_time using (site_id, unit_id, stay_no)
    left join stay_water using (site_id, unit_id, stay_no)
    join run.settings using (site_id)
    join run.part_rules using (site_id)
    cross join run.water_units
    where part_rules.max_s is not null
),

part_need as (
    select
        needs.site_id, needs.ward, needs.unit_id, needs.stay_no, needs.patient_key, needs.part, needs.started_at,
        cast(needs.needed as bigint) as needed,
        count(spans.row_no) as used,
    from needs
    left join facts.part_outcomes as spans
        on needs.site_id = spans.site_id
        and needs.part = spans.part
        and spans.follows_id = case needs.follows when 'unit' then needs.unit_id else needs.patient_key end
        and spans.fitted_at < needs.until
        and spans.in_place_until > needs.started_at
    group by all
)

select * from part_need
