-- title: Fittings in their sequence
-- grain: one row per fitting that belongs to a unit or a patient
-- reads: facts.part_rows, records.disinfections, occupancy.coverage, run.days, run.settings
-- internal: how far each fitting can be followed, and the hard evidence of its end
-- note: The horizon is the start of the first month without records of part changes, else as_of.

with

in_sequence as (
    select
        part_rows.*, settings.as_of, settings.grace, settings.charting_slack, settings.stay_gap,
        part_rows.fitted_at + settings.clock_slack as cycle_after,
        case follows when 'unit' then part_rows.unit_id else part_rows.patient_key end as follows_id,
        lead(fitted_at) over (
            partition by part_rows.site_id, part, follows, follows_id order by fitted_at, row_no
        ) as next_fitted_at,
    from facts.part_rows
    join run.settings using (site_id)
    where case follows when 'unit' then part_rows.unit_id else part_rows.patient_key end is not null
),

with_cycle as (
    select
        in_sequence.*,
        case when follows = 'unit' then cycles.started_at end as next_cycle_at,
    from in_sequence
    asof left join records.disinfections as cycles
        on in_sequence.site_id = cycles.site_id
        and in_sequence.unit_id = cycles.unit_id
        and in_sequence.cycle_after < cycles.started_at
),

with_horizon as (
    select
        with_cycle.*,
        case when with_cycle.removed_at > with_cycle.fitted_at then as_of
            else least(as_of, coverage.ends_at) end as horizon,
    from with_cycle
    join occupancy.coverage
        on with_cycle.site_id = coverage.site_id
        and coverage.table_name = 'part_changes'
        and coverage.part = '*'
        and with_cycle.fitted_at >= coverage.starts_at
        and with_cycle.fitted_at < coverage.ends_at
),

with_limit as (
    select
        with_horizon.*,
        case with_horizon.clock
            when 'elapsed' then with_horizon.fitted_at + to_seconds(with_horizon.max_s)
            else last_days.ends_at
        end as limit_at,
    from with_horizon
    join run.days as fitting_days
        on with_horizon.site_id = fitting_days.site_id
        and with_horizon.fitted_at >= fitting_days.starts_at
        and with_horizon.fitted_at < fitting_days.ends_at
    left join run.days as last_days
        on with_horizon.site_id = last_days.site_id
        and last_days.local_date = fitting_days.local_date + cast(with_horizon.max_days as int)
),

part_fittings as (
    select
        *,
        least(
            case when removed_at <= horizon then removed_at end,
            case when next_fitted_at <= horizon then next_fitted_at end,
            case when next_cycle_at <= horizon then next_cycle_at end
        ) as hard_ended_at,
    from with_limit
)

select * from part_fittings
