-- title: Exposure chains
-- section: 4.6
-- grain: one row per site_id, unit_id, chain_no, position
-- reads: facts.patient_stays, facts.unit_stays, facts.changeovers, facts.disinfection_cycles, run.settings
-- note: A link says that no valid disinfection is known between two stays; it is not an infection.
-- note: Expired or unproven storage links nothing: it is a failure of storage, not of disinfection.

with

returns as (
    select stays.site_id, stays.unit_id, stays.stay_no,
    from facts.unit_stays as stays
    join run.settings using (site_id)
    where stays.previous_key = stays.patient_key
        and not stays.overlapping
        and not stays.previous_overlapping
        and not exists (
            select 1 from facts.disinfection_cycles as cycles
            where cycles.site_id = stays.site_id
                and cycles.unit_id = stays.unit_id
                and cycles.valid
                and cycles.started_at >= stays.previous_ended_at - settings.clock_slack
                and cycles.ended_at <= stays.started_at + settings.clock_slack
        )
),

links as (
    select site_id, unit_id, stay_no from facts.changeovers
    where proof in ('invalid_cycle', 'uncharted_use', 'no_record')
    union
    select site_id, unit_id, stay_no from returns
),

numbered as (
    select
        stays.*,
        sum(cast(links.stay_no is null as int)) over (
            partition by stays.site_id, stays.unit_id order by stays.stay_no
        ) as stretch,
    from facts.patient_stays as stays
    left join links using (site_id, unit_id, stay_no)
),

chained as (
    select
        *,
        row_number() over (partition by site_id, unit_id, stretch order by stay_no) as position,
    from numbered
    qualify count(distinct patient_key) over (partition by site_id, unit_id, stretch) > 1
),

exposure_chains as (
    select
        site_id, unit_id,
        dense_rank() over (partition by site_id, unit_id order by stretch) as chain_no,
        position, patient_key, started_at, ended_at,
    from chained
)

select * from exposure_chains
