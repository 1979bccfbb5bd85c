-- title: Part overruns
-- section: 5
-- question: How often does a part stay in place past the site's own limit?
-- numerator: spans that ran past their limit and the grace
-- denominator: spans decided in the month: ended within the limit, or ran past it
-- unit: share
-- better: lower
-- caveat: a part still in place and within its limit is not counted until it ends or is due
-- caveat: the limit is the site's own policy; no open guideline sets a weekly one
-- caveat: for ventilator circuits CDC/HICPAC and AARC advise against routine changes
-- grain: one row per site_id, ward, month, part; ward '*' is the whole site
-- reads: facts.part_spans, run.months

with

decided as (
    select spans.site_id, spans.ward, months.month, spans.part, spans.outcome, spans.due, spans.carried_over
    from facts.part_spans as spans
    join run.months
        on spans.site_id = months.site_id
        and spans.decided_at >= months.starts_at
        and spans.decided_at < months.ends_at
),

in_place as (
    select
        spans.site_id, spans.ward, months.month, spans.part,
        date_diff(
            'second', greatest(spans.fitted_at, months.starts_at), least(spans.in_place_until, months.ends_at)
        ) as part_s,
        case when spans.outcome = 'overrun' and spans.in_place_until > months.starts_at
            and spans.limit_at < months.ends_at then date_diff(
            'second',
            greatest(spans.limit_at, months.starts_at),
            least(spans.in_place_until, months.ends_at)
        ) else 0 end as overrun_s,
    from facts.part_spans as spans
    join run.months
        on spans.site_id = months.site_id
        and spans.fitted_at < months.ends_at
        and spans.in_place_until > months.starts_at
    where spans.outcome not in ('unused', 'not_assessable')
),

counted as (
    select
        site_id, ward, month, part,
        1 as decided,
        cast(outcome = 'overrun' as int) as overrun,
        cast(due as int) as due,
        0 as part_s,
        0 as overrun_s,
        cast(carried_over > 0 as int) as carried_over_spans,
    from decided
    union all
    select site_id, ward, month, part, 0, 0, 0, part_s, greatest(overrun_s, 0), 0
    from in_place
),

summed as (
    select
        site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month, part,
        cast(sum(decided) as bigint) as decided,
        cast(sum(overrun) as bigint) as overrun,
        cast(sum(due) as bigint) as due,
        cast(sum(part_s) as bigint) as part_s,
        cast(sum(overrun_s) as bigint) as overrun_s,
        cast(sum(carried_over_spans) as bigint) as carried_over_spans,
    from counted
    group by grouping sets ((site_id, month, part, ward), (site_id, month, part))
),

part_overrun_monthly as (
    select
        site_id, ward, month, part, decided, overrun, due,
        overrun / nullif(decided, 0) as overrun_rate,
        wilson_low(overrun, decided) as rate_low,
        wilson_high(overrun, decided) as rate_high,
        overrun / nullif(due, 0) as overrun_of_due_rate,
        part_s / 86400.0 as part_days,
        overrun_s / 86400.0 as overrun_days,
        100 * overrun_s / nullif(part_s, 0) as overrun_days_per_100_part_days,
        carried_over_spans,
    from summed
)

select * from part_overrun_monthly
