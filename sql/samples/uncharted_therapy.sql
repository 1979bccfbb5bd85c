-- title: Logged therapy that no single episode holds
-- grain: one row per site_id, unit_id, starts_at
-- reads: samples.logged_therapy, samples.unit_segments
-- internal: the few pieces worth looking at when a changeover is judged

with

uncharted_therapy as (
    select segments.site_id, segments.unit_id, therapy.starts_at, therapy.ends_at,
    from samples.logged_therapy as therapy
    join samples.unit_segments as segments using (segment_no)
    where coalesce(therapy.ends_at > segments.occupied_until, true)
)

select * from uncharted_therapy
