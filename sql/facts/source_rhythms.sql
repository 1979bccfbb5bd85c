-- title: Usual rhythm of each source
-- section: freshness
-- grain: one row per site_id, table_name, unit_id, ward; without unit and ward it is the table's own
-- reads: facts.source_days, facts.withdrawals, run.settings
-- note: Over the 90 days up to its last row: the median gap between days with rows, which is a day or more, and
--   the gap that 19 in 20 do not exceed. A source is quiet after the longer of three median gaps and that one,
--   so a unit that stands idle for days between its patients is not.
-- note: Fewer than three days make no rhythm. A unit out of the pool has a reason to be quiet; silent_from is its
--   return, where that is later than its last row.

with

gaps as (
    select
        *,
        max(local_date) over (partition by site_id, table_name, unit_id, ward) as last_date,
        date_diff('day', lag(local_date) over (
            partition by site_id, table_name, unit_id, ward order by local_date
        ), local_date) as gap_days,
    from facts.source_days
),

rhythms as (
    select
        site_id, table_name, unit_id, ward,
        count(*) as days,
        median(gap_days) * 24.0 as usual_gap_h,
        quantile_disc(gap_days, 0.95) * 24.0 as long_gap_h,
        max(last_at) as last_at,
    from gaps
    where local_date > last_date - 90
    group by all
),

returns as (
    select withdrawals.site_id, withdrawals.unit_id, max(withdrawals.until) as returned_at,
    from facts.withdrawals
    join run.settings using (site_id)
    where withdrawals.until <= settings.as_of
    group by all
),

source_rhythms as (
    select
        rhythms.site_id, rhythms.table_name, rhythms.unit_id, rhythms.ward, rhythms.days, rhythms.usual_gap_h,
        case when rhythms.days > 2 then greatest(3 * rhythms.usual_gap_h, rhythms.long_gap_h) end
            as quiet_after_h,
        rhythms.last_at, greatest(rhythms.last_at, returns.returned_at) as silent_from,
    from rhythms
    join run.settings using (site_id)
    left join returns using (site_id, unit_id)
    where not exists (
        select 1 from facts.withdrawals
        where withdrawals.site_id = rhythms.site_id
            and withdrawals.unit_id = rhythms.unit_id
            and withdrawals.withdrawn_at <= settings.as_of
            and coalesce(withdrawals.until > settings.as_of, true)
    )
)

select * from source_rhythms
