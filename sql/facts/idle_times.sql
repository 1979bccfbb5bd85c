-- title: When a unit of the pool was ready and unused
-- grain: one row per site_id, unit_id, starts_at
-- reads: facts.unit_pool, facts.unit_times
-- internal: time in service less every time in use, waiting or withdrawn, overlaps counted once

with

busy as (
    select
        pool.site_id, pool.unit_id, pool.starts_at as pooled_at,
        greatest(pool.starts_at, times.starts_at) as starts_at,
        least(pool.ends_at, times.ends_at) as ends_at,
    from facts.unit_pool as pool
    join facts.unit_times as times
        on pool.site_id = times.site_id
        and pool.unit_id = times.unit_id
        and times.starts_at < pool.ends_at
        and times.ends_at > pool.starts_at
),

with_edges as (
    select site_id, unit_id, pooled_at, starts_at, ends_at from busy
    union all
    select site_id, unit_id, starts_at, starts_at, starts_at from facts.unit_pool
    union all
    select site_id, unit_id, starts_at, ends_at, ends_at from facts.unit_pool
),

in_order as (
    select
        *,
        max(ends_at) over (
            partition by site_id, unit_id, pooled_at order by starts_at, ends_at
            rows between unbounded preceding and 1 preceding
        ) as free_from,
    from with_edges
),

idle_times as (
    select
        in_order.site_id, in_order.unit_id, units.ward,
        in_order.free_from as starts_at, in_order.starts_at as ends_at,
    from in_order
    join facts.unit_pool as units
        on in_order.site_id = units.site_id
        and in_order.unit_id = units.unit_id
        and in_order.pooled_at = units.starts_at
    where in_order.free_from < in_order.starts_at
)

select * from idle_times
