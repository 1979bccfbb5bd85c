"""The stays on some units in order, each with what is on record since the one before it, and where that stands."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from typing import Any

from pipeline.tracing.judge import Records
from pipeline.tracing.links import SAME_PATIENT, Changeover, Cycle, LoggedUse, Place, Stay, Step
from pipeline.tracing.rows import Row, Unit, made, place, placed, rows, rows_of_units

#: What these queries read.
TABLES = (
    "facts.unit_stays", "facts.stay_episodes", "facts.changeovers", "facts.changeover_cycles",
    "facts.disinfection_cycles", "samples.uncharted_therapy",
)  # fmt: skip

_KEY = ("site_id", "unit_id", "stay_no")
_Key = tuple[str, str, int]

_STAYS = """
    select
        stays.site_id, stays.unit_id, stays.stay_no, stays.patient_key, stays.ward, stays.started_at,
        stays.ended_at, stays.overlapping, changeovers.proof, stays.previous_key, stays.previous_overlapping,
        case when stays.started_at >= stays.previous_ended_at
            then date_diff('second', stays.previous_ended_at, stays.started_at) / 3600.0 end as gap_h,
    from facts.unit_stays as stays
    left join facts.changeovers using (site_id, unit_id, stay_no)
    where list_contains($units, {'site': stays.site_id, 'unit': stays.unit_id})
    order by stays.site_id, stays.unit_id, stays.stay_no
"""

_CYCLES = """
    select
        stays.site_id, stays.unit_id, stays.stay_no, cycles.started_at, cycles.ended_at, cycles.outcome,
        cycles.valid, cycles.invalid_reason, cycles.a0_s, cycles.cycle_ref,
        cycles.valid and cycles.ended_at <= stays.started_at + settings.clock_slack as disinfects,
    from facts.unit_stays as stays
    join run.settings using (site_id)
    join facts.disinfection_cycles as cycles
        on stays.site_id = cycles.site_id
        and stays.unit_id = cycles.unit_id
        and cycles.started_at >= coalesce(stays.previous_ended_at, stays.previous_started_at)
            - settings.clock_slack
        and cycles.started_at <= stays.started_at + settings.clock_slack
    where list_contains($units, {'site': stays.site_id, 'unit': stays.unit_id})
    order by all
"""

_EPISODE_ROWS = """
    select episodes.site_id, episodes.unit_id, episodes.stay_no, rows.file_sha256, rows.source_row
    from facts.stay_episodes as episodes
    join settled.episodes as rows using (site_id, unit_id, started_at)
    left join run.patient_merges as merges
        on rows.site_id = merges.site_id and rows.patient_key = merges.old_key
    where coalesce(merges.new_key, rows.patient_key) = episodes.patient_key
        and list_contains($units, {'site': episodes.site_id, 'unit': episodes.unit_id})
    order by episodes.site_id, episodes.unit_id, episodes.stay_no, rows.started_at, rows.file_sha256,
        rows.source_row
"""

_CYCLE_ROWS = """
    select site_id, unit_id, started_at, file_sha256, source_row from settled.disinfections
    where list_contains($units, {'site': site_id, 'unit': unit_id})
    order by all
"""

_LOGGED_USE = """
    select
        changeovers.site_id, changeovers.unit_id, changeovers.stay_no,
        min(greatest(therapy.starts_at, cycles.valid_ended_at + settings.clock_slack)) as started_at,
        max(least(therapy.ends_at, changeovers.to_started_at - settings.charting_slack)) as ended_at,
        sum(date_diff(
            'second',
            greatest(therapy.starts_at, cycles.valid_ended_at + settings.clock_slack),
            least(therapy.ends_at, changeovers.to_started_at - settings.charting_slack)
        )) / 60.0 as minutes,
    from facts.changeovers
    join run.settings using (site_id)
    join facts.changeover_cycles as cycles using (site_id, unit_id, stay_no)
    join samples.uncharted_therapy as therapy
        on changeovers.site_id = therapy.site_id
        and changeovers.unit_id = therapy.unit_id
        and therapy.ends_at > cycles.valid_ended_at + settings.clock_slack
        and therapy.starts_at < changeovers.to_started_at - settings.charting_slack
    where changeovers.proof = 'uncharted_use'
        and list_contains($units, {'site': changeovers.site_id, 'unit': changeovers.unit_id})
    group by all
"""

_LOG_ROWS = """
    with logged as (
        select file_sha256, source_row from settled.usage_samples
        where site_id = $site and unit_id = $unit and phase = 'in_use'
            and sampled_at >= $first and sampled_at < $last
        union all
        select file_sha256, source_row from settled.usage_sessions
        where site_id = $site and unit_id = $unit and started_at < $last and ended_at > $first
    )
    select file_sha256, min(source_row) as first_row, max(source_row) as last_row from logged group by all order by all
"""


def steps(records: Records, units: Collection[Unit]) -> list[Step]:
    """Return the stays on units, given as (site_id, unit_id), each with its changeover from the one before."""
    places = placed(records, rows_of_units(records, _EPISODE_ROWS, units), *_KEY)
    cycles = _cycles(records, units)
    used = {_key(row): _logged_use(records, row) for row in rows_of_units(records, _LOGGED_USE, units)}
    found: list[Step] = []
    for row in rows_of_units(records, _STAYS, units):
        key = _key(row)
        changeover = None
        if row["previous_key"]:
            considered = [cycle for cycle, _ in cycles[key]]
            proof = _proof(row, any(disinfects for _, disinfects in cycles[key]))
            changeover = Changeover(proof, row["gap_h"], tuple(considered), used.get(key))
        found.append((made(Stay, row, rows=tuple(places[key])), changeover))
    return found


def _proof(row: Row, is_disinfected: bool) -> str:
    """Return the published proof; of the same patient's return, which has none, what is on record."""
    if row["previous_key"] != row["patient_key"]:
        return str(row["proof"])
    if row["overlapping"] or row["previous_overlapping"]:
        return "overlap"
    return "disinfected" if is_disinfected else SAME_PATIENT


def _cycles(records: Records, units: Collection[Unit]) -> defaultdict[_Key, list[tuple[Cycle, bool]]]:
    """Return the cycles that began before each stay since the one before, and whether each disinfects."""
    places = cycle_places(records, units)
    found: defaultdict[_Key, list[tuple[Cycle, bool]]] = defaultdict(list)
    for row in rows_of_units(records, _CYCLES, units):
        at = row["site_id"], row["unit_id"], row["started_at"]
        found[_key(row)].append((made(Cycle, row, rows=tuple(places[at])), row["disinfects"]))
    return found


def cycle_places(records: Records, units: Collection[Unit]) -> defaultdict[Any, list[Place]]:
    """Return where each cycle of these units stands, by site, unit and start."""
    return placed(records, rows_of_units(records, _CYCLE_ROWS, units), "site_id", "unit_id", "started_at")


def _logged_use(records: Records, row: Row) -> LoggedUse:
    logs = rows(
        records,
        _LOG_ROWS,
        site=row["site_id"],
        unit=row["unit_id"],
        first=row["started_at"],
        last=row["ended_at"],
    )
    ends = [
        [place(records, log["file_sha256"], log[end]) for end in ("first_row", "last_row")] for log in logs
    ]
    return made(LoggedUse, row, rows=tuple((first, last) for first, last in ends))


def _key(row: Row) -> _Key:
    return row["site_id"], row["unit_id"], row["stay_no"]
