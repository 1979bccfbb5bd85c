-- title: Stretches of samples with the unit powered
-- grain: one row per unit_no, powered_at
-- reads: samples.standing_samples
-- internal: powered_runs before the time in use is added up

with

spells as (
    select unit_no, starts_at as powered_at from samples.standing_samples where starts_spell
),

powered_spells as (
    select
        spells.unit_no, spells.powered_at,
        max(samples.ends_at) as ended_at,
        arg_min(samples.dew_point_centi_c, samples.starts_at) as first_centi_c,
        min(samples.starts_at) filter (
            where samples.dew_point_centi_c >= coalesce(samples.set_centi_c, samples.target_centi_c) - 50
        ) as target_reached_at,
        min(samples.starts_at) filter (where samples.in_use) as in_use_from,
    from samples.standing_samples as samples
    asof join spells
        on samples.unit_no = spells.unit_no
        and samples.starts_at >= spells.powered_at
    where samples.powered
    group by all
)

select * from powered_spells
