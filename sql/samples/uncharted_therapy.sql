-- title: Logged therapy that no single episode holds
-- grain: one row per site_id, unit_id, starts_at
-- reads: samples.logged_therapy, occupancy.unit_occupancy
-- internal: the few pieces worth looking at when a changeover is judged

with

uncharted_therapy as (
    select therapy.site_id, therapy.unit_id, therapy.starts_at, therapy.ends_at,
    from samples.logged_therapy as therapy
    asof left join occupancy.unit_occupancy as occupancy
        on therapy.site_id = occupancy.site_id
        and therapy.unit_id = occupancy.unit_id
        and therapy.starts_at >= occupancy.starts_at
    where coalesce(therapy.ends_at > occupancy.ends_at, true)
)

select * from uncharted_therapy
