-- title: Samples and how long each stands
-- grain: one row per unit_no, starts_at
-- reads: records.usage_samples, samples.unit_numbers, run.settings
-- internal: the one pass over all samples; units of measure as whole numbers
-- note: A sample stands for the time to the unit's next one of any phase, at most max_sample_gap_min.

with

numbered as (
    select
        units.unit_no, samples.sampled_at as starts_at, settings.max_sample_gap, settings.as_of,
        samples.phase = 'in_use' as in_use,
        samples.phase in ('heating', 'standby', 'in_use') as powered,
        cast(round(samples.flow_l_min * 1000) as int) as flow_ml_min,
        cast(round(samples.dew_point_c * 100) as int) as dew_point_centi_c,
        cast(round(samples.set_dew_point_c * 100) as int) as set_centi_c,
        cast(round(settings.target_dew_point_c * 100) as int) as target_centi_c,
    from records.usage_samples as samples
    join samples.unit_numbers as units using (site_id, unit_id)
    join run.settings using (site_id)
),

standing_samples as (
    select
        unit_no, starts_at,
        least(coalesce(lead(starts_at) over unit_order, as_of), starts_at + max_sample_gap) as ends_at,
        in_use, powered,
        powered and (
            lag(powered) over unit_order is not true or starts_at - lag(starts_at) over unit_order > max_sample_gap
        ) as starts_spell,
        flow_ml_min, dew_point_centi_c, set_centi_c, target_centi_c,
    from numbered
    window unit_order as (partition by unit_no order by starts_at)
)

select * from standing_samples
