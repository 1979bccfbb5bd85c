-- title: Therapy as the units logged it
-- grain: one row per sample in use, or per session and local day without samples
-- reads: records.usage_samples, records.usage_sessions, samples.powered_spells, samples.sample_days,
-- reads: run.days, run.water, run.settings
-- internal: time, flow and water of each logged piece, in whole seconds, millilitres per minute and ng per litre
-- note: A sample stands for the time to the unit's next one, at most max_sample_gap_min.

with

standing as (
    select
        samples.site_id, samples.unit_id, samples.phase, samples.flow_l_min,
        coalesce(samples.dew_point_c, settings.target_dew_point_c) as dew_point_c,
        samples.dew_point_c < samples.set_dew_point_c - 2 as below_set,
        samples.sampled_at as starts_at,
        least(
            coalesce(
                lead(samples.sampled_at) over (
                    partition by samples.site_id, samples.unit_id order by samples.sampled_at
                ),
                settings.as_of
            ),
            samples.sampled_at + settings.max_sample_gap
        ) as ends_at,
    from records.usage_samples as samples
    join run.settings using (site_id)
),

in_use as (
    select
        standing.*, spells.powered_at,
        -- Unknown without a set point. It counts once the set point was nearly reached, or an hour after power on.
        below_set
            and starts_at >= least(spells.target_reached_at, spells.powered_at + interval 1 hour) as low_humidity,
    from standing
    asof left join samples.powered_spells as spells
        on standing.site_id = spells.site_id
        and standing.unit_id = spells.unit_id
        and standing.starts_at >= spells.powered_at
    where standing.phase = 'in_use' and standing.ends_at > standing.starts_at
),

sessions as (
    select
        sessions.site_id, sessions.unit_id,
        greatest(sessions.started_at, days.starts_at) as starts_at,
        least(sessions.ended_at, days.ends_at) as ends_at,
        sessions.mean_flow_l_min as flow_l_min,
        coalesce(sessions.mean_dew_point_c, settings.target_dew_point_c) as dew_point_c,
    from records.usage_sessions as sessions
    join run.settings using (site_id)
    join run.days
        on sessions.site_id = days.site_id
        and sessions.started_at < days.ends_at
        and sessions.ended_at > days.starts_at
    where not exists (
        select 1 from samples.sample_days
        where sample_days.site_id = sessions.site_id
            and sample_days.unit_id = sessions.unit_id
            and sample_days.local_date = days.local_date
            and sample_days.source = 'samples'
    )
),

pieces as (
    select
        site_id, unit_id, starts_at, ends_at, flow_l_min, dew_point_c,
        'samples' as basis, powered_at, low_humidity,
    from in_use
    union all
    select site_id, unit_id, starts_at, ends_at, flow_l_min, dew_point_c, 'sessions', null, null
    from sessions
),

logged_therapy as (
    select
        pieces.* exclude (flow_l_min, dew_point_c),
        cast(round(pieces.flow_l_min * 1000) as bigint) as flow_ml_min,
        cast(round(pieces.flow_l_min * 1000) as bigint) * water.ng_per_l as water_rate,
    from pieces
    join run.water
        on pieces.site_id = water.site_id
        and water.dew_point_centi_c = cast(round(pieces.dew_point_c * 100) as int)
)

select * from logged_therapy
