-- title: Part cover
-- section: 5
-- question: How much of patients' time on high flow was served by a part known to be theirs and within its limit?
-- numerator: hours of episodes with the part in place, within its limit and first fitted for this patient
-- denominator: hours of episodes, less those that cannot be assessed
-- unit: share
-- better: higher
-- caveat: time without a record is undocumented, which is not the same as time without a part
-- grain: one row per site_id, ward, month, part; ward '*' is the whole site
-- reads: facts.part_cover

with

summed as (
    select
        site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month, part,
        sum(episode_s) as episode_s,
        sum(placed_s - over_limit_s - carried_over_s) as in_limit_s,
        sum(over_limit_s) as over_limit_s,
        sum(carried_over_s) as carried_over_s,
        sum(undocumented_s) as undocumented_s,
        sum(episode_s - placed_s - undocumented_s) as not_assessable_s,
    from facts.part_cover
    group by grouping sets ((site_id, month, part, ward), (site_id, month, part))
),

part_cover_monthly as (
    select
        site_id, ward, month, part,
        episode_s / 3600.0 as episode_h,
        in_limit_s / 3600.0 as in_limit_h,
        over_limit_s / 3600.0 as over_limit_h,
        carried_over_s / 3600.0 as carried_over_h,
        undocumented_s / 3600.0 as undocumented_h,
        not_assessable_s / 3600.0 as not_assessable_h,
        in_limit_s / nullif(episode_s - not_assessable_s, 0) as cover_rate,
    from summed
)

select * from part_cover_monthly
