"""What a trace was asked about, found in the records: a patient, a unit, a lot or a disinfection cycle."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pipeline.errors import NothingToDo, UsageError
from pipeline.ingest.labels import lot_named
from pipeline.instants import parse_instant
from pipeline.store.keys import load_key, patient_key
from pipeline.store.layout import Store
from pipeline.tracing.judge import CycleKey, Records, make
from pipeline.tracing.links import Stay
from pipeline.tracing.rows import Unit

_KEY = re.compile(r"[0-9a-f]{32}")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT")

_UNITS_OF_PATIENTS = """
    select distinct site_id, unit_id from records.episodes
    where list_contains($persons, {'site': site_id, 'patient': patient_key}) order by all
"""

_UNITS_NAMED = """
    select distinct site_id, unit_id from (
        select site_id, unit_id from records.units
        union select site_id, unit_id from records.episodes
        union select site_id, unit_id from records.disinfections
    ) where lower(unit_id) = lower(trim($unit)) and site_id in (select site_id from run.settings) order by all
"""

_SERVED_BY_LOT = """
    select distinct spans.site_id, services.unit_id, services.patient_key, services.started_at
    from facts.part_spans as spans
    join facts.part_services as services using (row_no)
    where lower(spans.lot) = lower(trim($lot)) order by all
"""

_CYCLES = """
    select site_id, unit_id, started_at from records.disinfections
    where coalesce(lower(unit_id) = lower(trim($unit)), true)
        and (lower(cycle_ref) = lower(trim($text)) or started_at = $start) order by all
"""

_BEFORE_CYCLE = """
    select patient_key, started_at from records.episodes
    where site_id = $site and unit_id = $unit and started_at < $start
    order by started_at desc, patient_key desc limit 1
"""

Person = tuple[str, str]
#: site_id, unit_id, patient_key, started_at
Episode = tuple[str, str, str, datetime]


@dataclass(frozen=True)
class Subject:
    """What was asked about. ``words`` name it without any patient reference; ``chosen`` knows its stays."""

    kind: str
    words: str
    units: tuple[Unit, ...]
    chosen: Callable[[Stay], bool]
    left_out: tuple[CycleKey, ...] = ()


def keys_of(store: Store, reference: str, sites: Collection[str]) -> set[Person]:
    """Return a patient's key at each site; a key as the reports show it (32 hex digits) is taken as one.

    Raises PrivacyGuard without the store's own key: with another, nobody would be found and seem cleared.
    """
    key = load_key(store, create=False)
    found = {(site, patient_key(key, site, reference)) for site in sites}
    stated = reference.strip().lower()
    return found | ({(site, stated) for site in sites} if _KEY.fullmatch(stated) else set())


def patient(records: Records, persons: Collection[Person]) -> Subject:
    """Find a patient's units; a reference that was merged into another stands for the same person."""
    merges = dict(_merges(records))
    merged = {(site, merges.get((site, key), key)) for site, key in persons}
    wanted = [{"site": site, "patient": key} for site, key in sorted(merged)]
    units = records.connection.execute(_UNITS_OF_PATIENTS, {"persons": wanted}).fetchall()
    if not units:
        raise NothingToDo(
            f"No episode of this patient is on record at {', '.join(records.sites)};"
            " check the spelling of the reference, and the quarantine."
        )
    found = sorted({site for site, _ in units})
    return Subject(
        "patient", f"one patient at {', '.join(found)}", tuple(units), lambda stay: stay.person in merged
    )


def unit(records: Records, unit_id: str) -> Subject:
    """Find a unit, at every site that has one of that name."""
    units = records.connection.execute(_UNITS_NAMED, {"unit": unit_id}).fetchall()
    if not units:
        raise NothingToDo(f"No unit '{unit_id.strip()}' is on record at {', '.join(records.sites)}.")
    words = ", ".join(f"unit {name} ({site})" for site, name in units)
    return Subject("unit", words, tuple(units), lambda stay: (stay.site_id, stay.unit_id) in units)


def lot(records: Records, lot_text: str) -> Subject:
    """Find the stays that parts of a lot served; it is compared without regard to case, or read from a label."""
    lot_text = lot_named(lot_text)
    make(records, ("facts.part_spans", "facts.part_services"))
    served = records.connection.execute(_SERVED_BY_LOT, {"lot": lot_text}).fetchall()
    if not served:
        raise NothingToDo(
            f"No part of lot '{lot_text}' is on record as used on a patient; see 'dewledger recall' for"
            " pieces in stock."
        )
    units = tuple(sorted({(site, unit_id) for site, unit_id, _, _ in served}))
    return Subject("lot", f"lot {lot_text}", units, _holding(served))


def cycle(records: Records, text: str) -> Subject:
    """Find the stay before a cycle, which is then left out: who was there before, who came after it?"""
    cycles = cycles_named(records, text)
    before: list[Episode] = []
    for site, unit_id, start in cycles:
        rows = records.connection.execute(_BEFORE_CYCLE, {"site": site, "unit": unit_id, "start": start})
        before += [(site, unit_id, *row) for row in rows.fetchall()]
    words = ", ".join(
        f"the cycle of {start.isoformat()}Z on unit {unit_id} ({site})" for site, unit_id, start in cycles
    )
    units = tuple(sorted({(site, unit_id) for site, unit_id, _ in cycles}))
    return Subject("cycle", words, units, _holding(before), tuple(cycles))


def cycles_named(records: Records, text: str) -> list[CycleKey]:
    """Return the cycles with a number of their own, or of a start as ``INSTANT`` or ``UNIT@INSTANT``."""
    unit_id, _, start = text.strip().rpartition("@")
    is_start = bool(_INSTANT.match(start))
    asked: dict[str, Any] = {
        "unit": unit_id if is_start and unit_id else None,
        "start": parse_instant(start) if is_start else None,
        "text": text,
    }
    cycles = records.connection.execute(_CYCLES, asked).fetchall()
    if not cycles:
        raise NothingToDo(
            f"No disinfection cycle '{text}' is on record; give its number, or UNIT@START with Z."
        )
    if len(cycles) > 1 and len({(site, unit) for site, unit, _ in cycles}) > 1:
        units = ", ".join(f"{unit} ({site})" for site, unit, _ in cycles)
        raise UsageError(
            f"'{text}' names a cycle on each of {units}; write UNIT@START, with --site where needed."
        )
    return cycles


def _holding(episodes: Collection[Episode]) -> Callable[[Stay], bool]:
    """Return what tells whether a stay holds one of these episodes."""

    def chosen(stay: Stay) -> bool:
        return any(
            (site, unit_id, key) == (stay.site_id, stay.unit_id, stay.patient_key)
            and stay.started_at <= start
            and (stay.ended_at is None or start <= stay.ended_at)
            for site, unit_id, key, start in episodes
        )

    return chosen


def _merges(records: Records) -> list[tuple[Person, str]]:
    rows = records.connection.execute("select site_id, old_key, new_key from run.patient_merges order by all")
    return [((site, old), new) for site, old, new in rows.fetchall()]
