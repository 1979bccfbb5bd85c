-- title: Water left in the bags that hang now
-- grain: one row per row_no (the fitting) of a bag on a unit with a sample within 2 h
-- reads: facts.part_outcomes, facts.bag_runs, samples.logged_therapy, samples.standing_samples, samples.unit_numbers,
-- reads: run.settings, run.water, run.water_units
-- internal: modelled water since hanging, and when the rest runs out at the rate of the latest sample
-- note: An estimate: look at the bag. The time counts from the latest sample on; one on a unit not in use has
-- note: none, unless the model has it empty already.

with

last_samples as (
    select
        samples.unit_no, units.site_id, units.unit_id, samples.starts_at as sampled_at,
        case when samples.in_use then samples.flow_ml_min * water.ng_per_l else 0 end as water_rate,
        settings.as_of, settings.bag_volume_ml, settings.bag_usable_fraction,
    from samples.standing_samples as samples
    join samples.unit_numbers as units using (unit_no)
    join run.settings using (site_id)
    left join run.water
        on units.site_id = water.site_id
        and coalesce(samples.dew_point_centi_c, samples.target_centi_c) = water.dew_point_centi_c
    where samples.starts_at >= settings.as_of - interval 2 hours
    qualify row_number() over (partition by samples.unit_no order by samples.starts_at desc) = 1
),

bags as (
    select
        outcomes.row_no, outcomes.fitted_at as hung_at, last_samples.*,
        coalesce(outcomes.volume_ml, bag_volume_ml) * bag_usable_fraction * water_units.per_ml as usable_water,
    from facts.part_outcomes as outcomes
    join last_samples using (site_id, unit_id)
    cross join run.water_units
    where outcomes.part = 'water_bag' and outcomes.end_evidence = 'open'
),

used as (
    select
        bags.row_no,
        sum(therapy.water_rate * date_diff('second', greatest(therapy.starts_at, bags.hung_at), therapy.ends_at))
            as used_water,
        max(therapy.ends_at) as logged_until,
    from bags
    join samples.logged_therapy as therapy
        on bags.unit_no = therapy.unit_no
        and therapy.ends_at > bags.hung_at
    group by bags.row_no
),

bag_levels as (
    select
        bags.row_no, bags.site_id, bags.unit_id, bags.hung_at,
        coalesce(
            runs.modelled_empty_at,
            case when bags.water_rate > 0 then greatest(bags.sampled_at, bags.hung_at, used.logged_until)
                + to_seconds(cast(floor(
                    (bags.usable_water - coalesce(used.used_water, 0)) / bags.water_rate
                ) as bigint))
            end
        ) as empty_at,
    from bags
    left join used using (row_no)
    left join facts.bag_runs as runs using (row_no)
)

select * from bag_levels
