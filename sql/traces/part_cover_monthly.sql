-- title: Episodes behind the cover by parts
-- grain: one row per episode, part and month
-- reads: facts.part_cover, facts.stay_episodes, sources.stay_rows
-- internal: hours of each episode; those that cannot be assessed are in neither sum

with

part_cover_monthly as (
    select
        cover.site_id, cover.ward, cover.month, cover.part, cover.unit_id, cover.patient_key,
        cover.started_at as told_at,
        (cover.placed_s - cover.over_limit_s - cover.carried_over_s) / 3600.0 as numerator,
        (cover.placed_s + cover.undocumented_s) / 3600.0 as denominator,
        case
            when cover.placed_s + cover.undocumented_s = 0 then 'not_assessable'
            when cover.undocumented_s > 0 then 'undocumented'
            when cover.carried_over_s > 0 then 'carried_over'
            when cover.over_limit_s > 0 then 'over_limit'
            else 'in_limit'
        end as why,
        stay_rows.sources,
    from facts.part_cover as cover
    join facts.stay_episodes as stays
        on cover.site_id = stays.site_id
        and cover.unit_id = stays.unit_id
        and cover.patient_key = stays.patient_key
        and cover.started_at = stays.started_at
    left join sources.stay_rows
        on stays.site_id = stay_rows.site_id
        and stays.unit_id = stay_rows.unit_id
        and stays.stay_no = stay_rows.stay_no
)

select * from part_cover_monthly
