-- title: What each unit was busy with
-- grain: one row per site_id, unit_id, task, starts_at; task is in_use, waiting or withdrawn
-- reads: occupancy.effective_episodes, facts.turnarounds, facts.withdrawals, run.settings
-- internal: times of a unit that may overlap where the records do
-- note: Waiting runs from the end of a stay until reprocessed, else until the next patient, the withdrawal or
--   as_of; a turnaround that cannot be assessed adds no waiting.

with

unit_times as (
    select site_id, unit_id, ward, 'in_use' as task, started_at as starts_at, until as ends_at,
    from occupancy.effective_episodes
    union all
    select
        site_id, unit_id, ward, 'waiting', ended_at,
        ended_at + to_seconds(cast(round(turnaround_h * 3600) as bigint)),
    from facts.turnarounds
    union all
    select
        withdrawals.site_id, withdrawals.unit_id, null, 'withdrawn', withdrawals.withdrawn_at,
        coalesce(least(withdrawals.until, settings.as_of), settings.as_of),
    from facts.withdrawals
    join run.settings using (site_id)
)

select * from unit_times where starts_at < ends_at
