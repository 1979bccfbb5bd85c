-- title: The fleet over time
-- section: 5
-- question: How many units are in use, waiting to be disinfected, and ready?
-- numerator: time of units in use, waiting, or ready and unused
-- denominator: time of the month that the record of episodes covers, up to as_of
-- unit: units
-- better: neither
-- caveat: a unit on the shelf counts as ready whether or not it could be found
-- grain: one row per site_id, ward, month; ward '*' is the whole site
-- reads: facts.unit_pool, facts.unit_times, facts.idle_times, facts.fleet_months
-- note: units_in_service counts the units in service at any time of the month. A unit of the register is in
--   service from in_service_on until retired_on; one that no register names, in the months from its first
--   trace to its last. Time in repair, on loan or held is in service, yet neither in use nor available.
-- note: In use goes to the ward of the episode, waiting to that of the stay, the rest to the unit's own ward.

with

tasks as (
    select site_id, ward, unit_id, task, starts_at, ends_at from facts.unit_times where task <> 'withdrawn'
    union all
    select site_id, ward, unit_id, 'available', starts_at, ends_at from facts.idle_times
    union all
    select site_id, ward, unit_id, 'service', starts_at, ends_at from facts.unit_pool
),

pieces as (
    select
        tasks.site_id, tasks.ward, months.month, tasks.task, tasks.unit_id,
        greatest(tasks.starts_at, months.starts_at) as starts_at,
        least(tasks.ends_at, months.ends_at) as ends_at,
    from tasks
    join facts.fleet_months as months
        on tasks.site_id = months.site_id
        and tasks.starts_at < months.ends_at
        and tasks.ends_at > months.starts_at
),

changes as (
    select site_id, ward, month, starts_at as changed_at, 1 as change from pieces where task = 'in_use'
    union all
    select site_id, ward, month, ends_at, -1 from pieces where task = 'in_use'
),

-- Half-open intervals: an episode that ends as another begins was never beside it.
ward_numbers as (
    select site_id, ward, month,
        sum(change) over (
            partition by site_id, ward, month order by changed_at, change rows unbounded preceding
        ) as in_use,
    from changes
),

site_numbers as (
    select site_id, '*' as ward, month,
        sum(change) over (
            partition by site_id, month order by changed_at, change rows unbounded preceding
        ) as in_use,
    from changes
),

peaks as (
    select site_id, ward, month, max(in_use) as peak from ward_numbers group by all
    union all
    select site_id, ward, month, max(in_use) from site_numbers group by all
),

lengths as (
    select site_id, month, sum(date_diff('second', starts_at, ends_at)) as month_s
    from facts.fleet_months group by all
),

summed as (
    select
        site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month,
        count(distinct unit_id) filter (where task = 'service') as units_in_service,
        coalesce(sum(date_diff('second', starts_at, ends_at)) filter (where task = 'in_use'), 0) as use_s,
        coalesce(sum(date_diff('second', starts_at, ends_at)) filter (where task = 'waiting'), 0) as waiting_s,
        coalesce(sum(date_diff('second', starts_at, ends_at)) filter (where task = 'available'), 0) as free_s,
    from pieces
    group by grouping sets ((site_id, month, ward), (site_id, month))
),

fleet_monthly as (
    select
        summed.site_id, summed.ward, summed.month, summed.units_in_service,
        summed.use_s / lengths.month_s as mean_in_use,
        cast(coalesce(peaks.peak, 0) as bigint) as peak_in_use,
        summed.waiting_s / lengths.month_s as mean_waiting,
        summed.free_s / lengths.month_s as mean_available,
    from summed
    join lengths using (site_id, month)
    left join peaks
        on summed.site_id = peaks.site_id
        and summed.month = peaks.month
        and summed.ward is not distinct from peaks.ward
)

select * from fleet_monthly
