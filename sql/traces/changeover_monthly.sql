-- title: Changeovers behind the rate
-- grain: one row per changeover
-- reads: facts.changeovers, sources.stay_rows, sources.cycle_rows, run.months, run.settings
-- internal: both stays, and every cycle that began between them

with

changeovers as (
    select changeovers.*, months.month, settings.clock_slack,
    from facts.changeovers
    join run.settings using (site_id)
    join run.months
        on changeovers.site_id = months.site_id
        and changeovers.to_started_at >= months.starts_at
        and changeovers.to_started_at < months.ends_at
),

cycles_between as (
    select changeovers.site_id, changeovers.unit_id, changeovers.stay_no,
        flatten(list(cycles.sources order by cycles.started_at)) as sources,
    from changeovers
    join sources.cycle_rows as cycles
        on changeovers.site_id = cycles.site_id
        and changeovers.unit_id = cycles.unit_id
        and cycles.started_at >= changeovers.from_ended_at - changeovers.clock_slack
        and cycles.started_at <= changeovers.to_started_at + changeovers.clock_slack
    group by all
),

changeover_monthly as (
    select
        changeovers.site_id, changeovers.ward, changeovers.month, null as part, changeovers.unit_id,
        changeovers.to_patient_key as patient_key, changeovers.to_started_at as told_at,
        cast(changeovers.proof in (
            'expired', 'storage_unproven', 'invalid_cycle', 'uncharted_use', 'no_record'
        ) as double) as numerator,
        cast(changeovers.proof not in ('undecided', 'not_assessable', 'overlap') as double) as denominator,
        changeovers.proof as why,
        list_concat(earlier.sources, list_concat(cycles_between.sources, later.sources)) as sources,
    from changeovers
    left join sources.stay_rows as later
        on changeovers.site_id = later.site_id
        and changeovers.unit_id = later.unit_id
        and changeovers.stay_no = later.stay_no
    left join sources.stay_rows as earlier
        on changeovers.site_id = earlier.site_id
        and changeovers.unit_id = earlier.unit_id
        and changeovers.stay_no - 1 = earlier.stay_no
    left join cycles_between
        on changeovers.site_id = cycles_between.site_id
        and changeovers.unit_id = cycles_between.unit_id
        and changeovers.stay_no = cycles_between.stay_no
)

select * from changeover_monthly
