-- title: How each hour of an episode was covered by a part
-- grain: one row per site_id, unit_id, patient_key, started_at, part, month
-- reads: occupancy.effective_episodes, facts.part_outcomes, facts.part_services, occupancy.coverage,
-- reads: run.part_rules, run.months
-- internal: whole seconds behind part_cover_monthly
-- note: A fitting charted within the slack after the start counts from the start; of two the later counts.

with

episode_months as (
    select
        episodes.site_id, episodes.unit_id, episodes.patient_key, episodes.ward, episodes.started_at,
        episodes.overlapping, part_rules.part, part_rules.follows, months.month,
        greatest(episodes.started_at, months.starts_at) as starts_at,
        least(episodes.until, months.ends_at) as ends_at,
        episodes.started_at < months.starts_at as was_running,
        months.starts_at as month_starts_at,
    from occupancy.effective_episodes as episodes
    join run.part_rules using (site_id)
    join run.months
        on episodes.site_id = months.site_id
        and episodes.started_at < months.ends_at
        and episodes.until > months.starts_at
    where part_rules.per_patient
),

placed as (
    select
        services.unit_id, services.patient_key, services.started_at, spans.site_id, spans.part,
        case when spans.fitted_at <= services.started_at + spans.charting_slack
            then least(spans.fitted_at, services.started_at) else spans.fitted_at end as placed_at,
        spans.fitted_at, spans.row_no, spans.in_place_until, spans.limit_at,
        spans.first_patient_key <> services.patient_key as carried_over,
    from facts.part_services as services
    join facts.part_outcomes as spans using (row_no)
),

placed_in_turn as (
    select
        *,
        least(in_place_until, lead(placed_at) over (
            partition by site_id, unit_id, patient_key, started_at, part order by fitted_at, row_no
        )) as placed_until,
    from placed
),

parted as (
    select
        months.*, placed.limit_at, placed.carried_over,
        greatest(placed.placed_at, months.starts_at) as placed_at,
        least(placed.placed_until, months.ends_at) as placed_until,
    from episode_months as months
    join placed_in_turn as placed using (site_id, unit_id, patient_key, started_at, part)
    where greatest(placed.placed_at, months.starts_at) < least(placed.placed_until, months.ends_at)
),

placed_sums as (
    select
        site_id, unit_id, patient_key, started_at, part, month,
        sum(date_diff('second', placed_at, placed_until)) as placed_s,
        sum(date_diff('second', greatest(placed_at, limit_at), placed_until))
            filter (where limit_at < placed_until) as over_limit_s,
        sum(date_diff('second', placed_at, least(placed_until, coalesce(greatest(limit_at, placed_at), placed_until))))
            filter (where carried_over) as carried_over_s,
    from parted
    group by all
),

-- The time between the parts: from each part's end, or the month's start, to the next part, or the month's end.
gaps as (
    select
        site_id, unit_id, patient_key, started_at, part, month,
        coalesce(lag(placed_until) over in_turn, starts_at) as starts_at, placed_at as ends_at,
    from parted
    window in_turn as (partition by site_id, unit_id, patient_key, started_at, part, month order by placed_at)
    union all
    select site_id, unit_id, patient_key, started_at, part, month, max(placed_until), any_value(ends_at)
    from parted group by all
    union all
    select site_id, unit_id, patient_key, started_at, part, month, starts_at, ends_at
    from episode_months
    anti join placed_sums using (site_id, unit_id, patient_key, started_at, part, month)
),

undocumented as (
    select
        gaps.site_id, gaps.unit_id, gaps.patient_key, gaps.started_at, gaps.part, gaps.month,
        sum(date_diff(
            'second', greatest(gaps.starts_at, coverage.starts_at), least(gaps.ends_at, coverage.ends_at)
        )) as undocumented_s,
    from gaps
    join occupancy.coverage
        on gaps.site_id = coverage.site_id
        and coverage.table_name = 'part_changes'
        and gaps.part = coverage.part
        and gaps.starts_at < coverage.ends_at
        and gaps.ends_at > coverage.starts_at
    group by all
),

part_cover as (
    select
        months.site_id, months.ward, months.unit_id, months.patient_key, months.started_at, months.part,
        months.month,
        date_diff('second', months.starts_at, months.ends_at) as episode_s,
        case when months.overlapping then 0 else coalesce(placed_sums.placed_s, 0) end as placed_s,
        case when months.overlapping then 0 else coalesce(placed_sums.over_limit_s, 0) end as over_limit_s,
        case when months.overlapping then 0 else coalesce(placed_sums.carried_over_s, 0) end as carried_over_s,
        case
            when months.overlapping then 0
            when months.was_running and coverage.site_id is null then 0
            else coalesce(undocumented.undocumented_s, 0)
        end as undocumented_s,
    from episode_months as months
    left join placed_sums using (site_id, unit_id, patient_key, started_at, part, month)
    left join undocumented using (site_id, unit_id, patient_key, started_at, part, month)
    left join occupancy.coverage
        on months.site_id = coverage.site_id
        and coverage.table_name = 'part_changes'
        and months.part = coverage.part
        and coverage.starts_at < months.month_starts_at
        and coverage.ends_at >= months.month_starts_at
)

select * from part_cover
