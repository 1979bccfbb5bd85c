-- title: Parts needed, fitted and issued
-- section: 5
-- question: How many parts did the rules require, how many were fitted, and how many left the stores?
-- numerator: pieces issued from the stores
-- denominator: pieces fitted
-- unit: ratio
-- better: near one
-- caveat: stock issues name no patient; a ward's issues are those to a location of its name
-- grain: one row per site_id, ward, month, part; ward '*' is the whole site
-- reads: facts.patient_stays, facts.therapy_time, facts.part_spans, facts.part_need, records.stock_moves,
-- reads: records.items, run.part_rules, run.months, run.days

with

counted as (
    select
        stays.site_id, stays.ward, months.month, part_rules.part,
        1 as stay, 0 as therapy_s, 0 as fitted, null::bigint as needed, null::double as issued,
    from facts.patient_stays as stays
    join run.part_rules using (site_id)
    join run.months
        on stays.site_id = months.site_id
        and stays.started_at >= months.starts_at
        and stays.started_at < months.ends_at
    union all
    select time.site_id, time.ward, days.month, part_rules.part, 0, time.therapy_s, 0, null, null
    from facts.therapy_time as time
    join run.part_rules using (site_id)
    join run.days using (site_id, local_date)
    union all
    select spans.site_id, spans.ward, months.month, spans.part, 0, 0, 1, null, null
    from facts.part_spans as spans
    join run.months
        on spans.site_id = months.site_id
        and spans.fitted_at >= months.starts_at
        and spans.fitted_at < months.ends_at
    union all
    select need.site_id, need.ward, months.month, need.part, 0, 0, 0, need.needed, null
    from facts.part_need as need
    join run.months
        on need.site_id = months.site_id
        and need.started_at >= months.starts_at
        and need.started_at < months.ends_at
    union all
    select moves.site_id, moves.location, months.month, items.part, 0, 0, 0, null, moves.quantity
    from records.stock_moves as moves
    join records.items using (site_id, item_id)
    join run.months
        on moves.site_id = months.site_id
        and moves.moved_at >= months.starts_at
        and moves.moved_at < months.ends_at
    where moves.kind = 'issue'
),

summed as (
    select
        site_id, case when grouping(ward) = 1 then '*' else ward end as ward, month, part,
        cast(sum(stay) as bigint) as stays_started,
        sum(therapy_s) / 86400.0 as therapy_days,
        cast(sum(fitted) as bigint) as fitted,
        cast(sum(needed) as bigint) as needed,
        sum(cast(round(issued * 1000) as bigint)) / 1000.0 as issued,
    from counted
    group by grouping sets ((site_id, month, part, ward), (site_id, month, part))
),

part_use_monthly as (
    select *, issued / nullif(fitted, 0) as issued_to_fitted from summed
)

select * from part_use_monthly
