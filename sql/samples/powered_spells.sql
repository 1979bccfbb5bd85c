-- title: Stretches of samples with the unit powered
-- grain: one row per site_id, unit_id, powered_at
-- reads: records.usage_samples, run.settings
-- internal: powered_runs before the time in use is added up

with

standing as (
    select
        samples.site_id, samples.unit_id, samples.sampled_at, samples.phase,
        samples.phase in ('heating', 'standby', 'in_use') as powered,
        samples.dew_point_c,
        cast(round(samples.dew_point_c * 100) as int) >= cast(round(
            coalesce(samples.set_dew_point_c, settings.target_dew_point_c) * 100
        ) as int) - 50 as at_target,
        settings.max_sample_gap, settings.as_of,
        lag(samples.sampled_at) over unit_order as previous_at,
        lag(samples.phase in ('heating', 'standby', 'in_use')) over unit_order as previous_powered,
        lead(samples.sampled_at) over unit_order as next_at,
    from records.usage_samples as samples
    join run.settings using (site_id)
    window unit_order as (partition by samples.site_id, samples.unit_id order by samples.sampled_at)
),

numbered as (
    select
        *,
        sum(cast(
            previous_powered is not true or sampled_at - previous_at > max_sample_gap as int
        )) over (partition by site_id, unit_id order by sampled_at) as spell_no,
    from standing
    where powered
),

powered_spells as (
    select
        site_id, unit_id,
        min(sampled_at) as powered_at,
        max(least(coalesce(next_at, as_of), sampled_at + max_sample_gap)) as ended_at,
        arg_min(dew_point_c, sampled_at) as first_dew_point_c,
        min(sampled_at) filter (where at_target) as target_reached_at,
        min(sampled_at) filter (where phase = 'in_use') as in_use_from,
    from numbered
    group by site_id, unit_id, spell_no
)

select * from powered_spells
