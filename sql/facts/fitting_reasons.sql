-- title: Why parts were changed, and whether early
-- section: planning
-- grain: one row per site_id, month, part, item_id, reason, early
-- reads: facts.part_fittings, facts.part_outcomes, records.part_changes, run.months
-- note: A change is early when it ended a part before its limit while the patient's therapy went on.
-- note: The reason is the one charted with the fitting of the new part; before_limit_h sums what early ones left.

with

in_sequence as (
    select
        fittings.site_id, fittings.part, fittings.row_no, fittings.fitted_at,
        lag(fittings.row_no) over (
            partition by fittings.site_id, fittings.part, fittings.follows, fittings.follows_id
            order by fittings.fitted_at, fittings.row_no
        ) as replaced_row_no,
    from facts.part_fittings as fittings
),

judged as (
    select
        in_sequence.site_id, months.month, in_sequence.part, changes.item_id, changes.reason,
        coalesce(
            replaced.ended_at = in_sequence.fitted_at
                and replaced.end_evidence in ('next_fitting', 'recorded')
                and replaced.outcome = 'within_limit'
                and replaced.due
                and coalesce(in_sequence.fitted_at < replaced.limit_at, true),
            false
        ) as early,
        case when early then date_diff('second', in_sequence.fitted_at, replaced.limit_at) end as before_limit_s,
    from in_sequence
    join records.part_changes as changes using (row_no)
    join run.months
        on in_sequence.site_id = months.site_id
        and in_sequence.fitted_at >= months.starts_at
        and in_sequence.fitted_at < months.ends_at
    left join facts.part_outcomes as replaced on in_sequence.replaced_row_no = replaced.row_no
),

fitting_reasons as (
    select
        site_id, month, part, item_id, reason, early,
        count(*) as fitted,
        cast(sum(before_limit_s) as bigint) / 3600.0 as before_limit_h,
    from judged
    group by all
)

select * from fitting_reasons
