-- title: When each unit belonged to the pool
-- grain: one row per site_id, unit_id, starts_at, ends_at
-- reads: records.units, occupancy.effective_episodes, records.disinfections, samples.sample_days, run.days,
-- reads: run.months, run.settings
-- internal: time in service, before what takes a unit out for a while
-- note: A unit of the register is in service from in_service_on (else from the first month of the records) until
--   retired_on, both at local midnight. A unit that no register names is in service in the months from
--   its first trace to its last.

with

traces as (
    select site_id, unit_id, min(started_at) as first_at, max(until) as last_at
    from occupancy.effective_episodes group by all
    union all
    select site_id, unit_id, min(started_at), max(started_at) from records.disinfections group by all
    union all
    select sample_days.site_id, sample_days.unit_id, min(days.starts_at), max(days.starts_at)
    from samples.sample_days
    join run.days using (site_id, local_date)
    group by all
),

seen as (
    select site_id, unit_id, min(first_at) as first_at, max(last_at) as last_at from traces group by all
),

first_days as (
    select days.site_id, min(days.local_date) as first_on, min(months.starts_at) as starts_at,
    from run.days join run.months using (site_id) group by all
),

registered as (
    select
        units.site_id, units.unit_id, units.ward,
        case when coalesce(units.in_service_on <= first_days.first_on, true) then first_days.starts_at
            else entered.starts_at end as starts_at,
        least(settings.as_of, retired.starts_at) as ends_at,
    from records.units
    join run.settings using (site_id)
    join first_days using (site_id)
    asof left join run.days as entered
        on units.site_id = entered.site_id
        and units.in_service_on <= entered.local_date
    asof left join run.days as retired
        on units.site_id = retired.site_id and units.retired_on <= retired.local_date
),

unregistered as (
    select
        seen.site_id, seen.unit_id, null as ward, first_months.starts_at,
        least(settings.as_of, last_months.ends_at) as ends_at,
    from seen
    join run.settings using (site_id)
    join run.months as first_months
        on seen.site_id = first_months.site_id
        and seen.first_at >= first_months.starts_at
        and seen.first_at < first_months.ends_at
    join run.months as last_months
        on seen.site_id = last_months.site_id
        and seen.last_at >= last_months.starts_at
        and seen.last_at < last_months.ends_at
    anti join records.units on seen.site_id = units.site_id and seen.unit_id = units.unit_id
),

pooled as (
    select * from registered where starts_at < ends_at
    union all
    select * from unregistered where starts_at < ends_at
),

last_wards as (
    select site_id, unit_id, arg_max(ward, (started_at, patient_key)) as ward
    from occupancy.effective_episodes group by all
),

unit_pool as (
    select pooled.* replace (coalesce(pooled.ward, last_wards.ward) as ward),
    from pooled
    left join last_wards using (site_id, unit_id)
)

select * from unit_pool
