-- title: Therapy as the units logged it
-- grain: one row per sample in use, or per session, local day and patient where the day has no sample
-- reads: samples.standing_samples, samples.powered_spells, samples.unit_segments, samples.sample_days,
-- reads: records.usage_sessions, run.water, run.settings
-- internal: flow in millilitres per minute; water_rate is that times nanograms per litre
-- note: Low humidity runs from low_from to the piece's end: once the set point was nearly reached, or after
--   an hour of power.

with

in_use as (
    select samples.*, segments.segment_no, segments.site_id,
    from samples.standing_samples as samples
    asof join samples.unit_segments as segments
        on samples.unit_no = segments.unit_no
        and samples.starts_at >= segments.starts_at
    where samples.in_use and samples.ends_at > samples.starts_at
),

-- Few samples are this dry, and only those need their spell.
dry as (
    select
        in_use.unit_no, in_use.starts_at,
        greatest(in_use.starts_at, least(spells.target_reached_at, spells.powered_at + interval 1 hour)) as low_from,
    from in_use
    asof join samples.powered_spells as spells
        on in_use.unit_no = spells.unit_no
        and in_use.starts_at >= spells.powered_at
    where in_use.dew_point_centi_c < in_use.set_centi_c - 200
        and in_use.ends_at > least(spells.target_reached_at, spells.powered_at + interval 1 hour)
),

sessions as (
    select
        segments.unit_no,
        greatest(sessions.started_at, segments.starts_at) as starts_at,
        least(sessions.ended_at, segments.ends_at) as ends_at,
        segments.segment_no, segments.site_id,
        cast(round(sessions.mean_flow_l_min * 1000) as int) as flow_ml_min,
        cast(round(coalesce(sessions.mean_dew_point_c, settings.target_dew_point_c) * 100) as int)
            as dew_point_centi_c,
    from records.usage_sessions as sessions
    join run.settings using (site_id)
    join samples.unit_segments as segments
        on sessions.site_id = segments.site_id
        and sessions.unit_id = segments.unit_id
        and sessions.started_at < segments.ends_at
        and sessions.ended_at > segments.starts_at
    where not exists (
        select 1 from samples.sample_days
        where sample_days.site_id = segments.site_id
            and sample_days.unit_id = segments.unit_id
            and sample_days.local_date = segments.local_date
            and sample_days.source = 'samples'
    )
),

pieces as (
    select
        in_use.unit_no, in_use.starts_at, in_use.ends_at, in_use.segment_no, in_use.site_id, in_use.flow_ml_min,
        coalesce(in_use.dew_point_centi_c, in_use.target_centi_c) as dew_point_centi_c,
        'samples' as basis,
        case when in_use.set_centi_c is not null and in_use.dew_point_centi_c is not null
            then coalesce(dry.low_from, in_use.ends_at) end as low_from,
    from in_use
    left join dry using (unit_no, starts_at)
    union all
    select unit_no, starts_at, ends_at, segment_no, site_id, flow_ml_min, dew_point_centi_c, 'sessions', null
    from sessions
),

logged_therapy as (
    select
        pieces.unit_no, pieces.starts_at, pieces.ends_at, pieces.segment_no, pieces.basis, pieces.flow_ml_min,
        pieces.flow_ml_min * water.ng_per_l as water_rate,
        pieces.low_from,
    from pieces
    join run.water
        on pieces.site_id = water.site_id
        and pieces.dew_point_centi_c = water.dew_point_centi_c
)

select * from logged_therapy
