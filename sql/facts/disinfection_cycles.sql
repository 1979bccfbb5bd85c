-- title: Disinfection cycles
-- section: 4.4
-- hidden: storage_protected, status_tagged, cycle_ref
-- grain: one row per site_id, unit_id, started_at
-- reads: records.disinfections, records.cycle_temperatures, run.heat, run.settings
-- note: Valid means passed, ended, and meeting each of the site's own limits that is set.
-- note: A0 adds up 10^((T - 80)/10) over time (ISO 15883-1, z = 10 K); by our convention from 65 °C on.
-- note: A reading stands for the time to the next one, the last for the time to the cycle's end, 60 s at most.

with

readings as (
    select
        cycles.site_id, cycles.unit_id, cycles.started_at, heat.dose_ns, heat.temperature_centi_c,
        least(60, date_diff('second', temperatures.measured_at, coalesce(
            lead(temperatures.measured_at) over (
                partition by cycles.site_id, cycles.unit_id, cycles.started_at
                order by temperatures.measured_at
            ),
            cycles.ended_at
        ))) as standing_s,
    from records.disinfections as cycles
    join records.cycle_temperatures as temperatures
        on cycles.site_id = temperatures.site_id
        and cycles.unit_id = temperatures.unit_id
        and temperatures.measured_at >= cycles.started_at
        and temperatures.measured_at <= cycles.ended_at
    join run.heat
        on heat.temperature_centi_c = cast(round(temperatures.temperature_c * 100) as bigint)
),

doses as (
    select
        readings.site_id, readings.unit_id, readings.started_at,
        sum(readings.dose_ns * readings.standing_s) as dose_ns,
        sum(case when readings.temperature_centi_c >= settings.hold_centi_c then readings.standing_s else 0 end)
            as hold_s,
    from readings
    join run.settings using (site_id)
    group by all
),

judged as (
    select
        cycles.*,
        date_diff('second', cycles.started_at, cycles.ended_at) as duration_s,
        doses.dose_ns,
        case when settings.hold_centi_c is not null then doses.hold_s end as hold_s,
        case
            when cycles.outcome <> 'passed' then cycles.outcome
            when cycles.ended_at is null then 'no_end'
            when duration_s < settings.min_cycle_s then 'short'
            when (settings.min_a0_s is not null or settings.hold_s is not null) and doses.dose_ns is null
                then 'no_temperatures'
            when doses.dose_ns < settings.min_a0_s * 1000000000.0 then 'low_a0'
            when doses.hold_s < settings.hold_s then 'short_hold'
        end as invalid_reason,
    from records.disinfections as cycles
    join run.settings using (site_id)
    left join doses using (site_id, unit_id, started_at)
),

disinfection_cycles as (
    select
        site_id, unit_id, started_at, ended_at, outcome,
        duration_s / 60.0 as duration_min,
        dose_ns / 1000000000.0 as a0_s,
        hold_s / 60.0 as hold_min,
        invalid_reason is null as valid,
        invalid_reason, cycle_count, storage_protected, status_tagged, cycle_ref,
    from judged
)

select * from disinfection_cycles
