"""One unit's history: its time from end to end, its patients, cycles, counts, parts, and what stands out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from pipeline.errors import NothingToDo
from pipeline.store.layout import Store
from pipeline.tracing import life_line, stays, subject, words
from pipeline.tracing.judge import Records, known_at, make, only_samples_of
from pipeline.tracing.life_line import Segment
from pipeline.tracing.links import SAME_PATIENT, Cycle, Step
from pipeline.tracing.period import ALWAYS, Period
from pipeline.tracing.rows import Row, Unit, made, rows
from pipeline.tracing.subject import Person

_TABLES = (
    *stays.TABLES, "facts.part_spans", "facts.count_checks", "facts.withdrawals", "occupancy.coverage",
)  # fmt: skip

_CYCLES = """
    select started_at, ended_at, outcome, valid, invalid_reason, a0_s, cycle_ref
    from facts.disinfection_cycles where site_id = $site and unit_id = $unit order by started_at
"""
_PARTS = """
    select part, lot, patient_key, fitted_at, ended_at, limit_at, outcome, overrun_h, carried_over
    from facts.part_spans where site_id = $site and unit_id = $unit order by fitted_at, part, lot
"""
_COUNTS = """
    select from_at, to_at, from_count, to_count, expected, counted, verdict
    from facts.count_checks where site_id = $site and unit_id = $unit order by to_at, from_at
"""
_OUT = """
    select withdrawn_at, until from facts.withdrawals where site_id = $site and unit_id = $unit order by all
"""
_REGISTER = """
    select ward, in_service_on, retired_on from records.units where site_id = $site and unit_id = $unit
"""
#: Without episodes or without cycles a unit's state cannot be known.
_COVERED = """
    select
        greatest(stays.starts_at, cycles.starts_at) as starts_at,
        least(stays.ends_at, cycles.ends_at) as ends_at,
    from occupancy.coverage as stays
    join occupancy.coverage as cycles using (site_id)
    where stays.site_id = $site and stays.table_name = 'episodes' and cycles.table_name = 'disinfections'
        and stays.starts_at < cycles.ends_at and cycles.starts_at < stays.ends_at
    order by all
"""


@dataclass(frozen=True)
class PartOn:
    """One disposable that was on the unit; ``limit_at`` and ``outcome`` are the part span's."""

    part: str
    lot: str | None
    patient_key: str | None
    fitted_at: datetime
    ended_at: datetime | None
    limit_at: datetime | None
    outcome: str
    overrun_h: float
    carried_over: int


@dataclass(frozen=True)
class CountCheck:
    """Two counts in a row against the cycles recorded between them."""

    from_at: datetime
    to_at: datetime
    from_count: int
    to_count: int
    expected: int
    counted: int
    verdict: str


@dataclass(frozen=True)
class Misread:
    """A reading that fits neither neighbour, and the count that would."""

    read_at: datetime
    count: int
    would_fit: int


@dataclass(frozen=True)
class Remark:
    """Something that stands out, when, and in words."""

    at: datetime
    words: str


@dataclass(frozen=True)
class UnitHistory:
    """All that is on record about one unit in a period, as known at ``as_of``."""

    site_id: str
    unit_id: str
    ward: str | None
    in_service_on: date | None
    retired_on: date | None
    as_of: datetime
    zone: ZoneInfo
    line: tuple[Segment, ...]
    steps: tuple[Step, ...]
    cycles: tuple[Cycle, ...]
    parts: tuple[PartOn, ...]
    counts: tuple[CountCheck, ...]
    misreads: tuple[Misread, ...]
    remarks: tuple[Remark, ...]
    references: dict[Person, str] = field(default_factory=dict)

    @property
    def persons(self) -> set[Person]:
        """Every patient in it."""
        keys = {part.patient_key for part in self.parts if part.patient_key}
        return {stay.person for stay, _ in self.steps} | {(self.site_id, key) for key in keys}


def unit_histories(
    store: Store,
    unit_id: str,
    site: str | None = None,
    period: Period = ALWAYS,
    as_of: datetime | None = None,
) -> list[UnitHistory]:
    """Return the history of a unit at each site that has one of that name; NothingToDo when none has."""
    with known_at(store, as_of, site=site) as records:
        units = subject.unit(records, unit_id).units
        only_samples_of(records, {name for _, name in units})
        make(records, _TABLES)
        return [_history(records, unit, period) for unit in units]


def _history(records: Records, unit: Unit, period: Period) -> UnitHistory:
    site, name = unit
    zone = records.sites[site].zone
    steps = stays.steps(records, [unit])
    cycles = _cycles(records, unit)
    parts = [made(PartOn, row) for row in _rows(records, _PARTS, unit)]
    counts = [made(CountCheck, row) for row in _rows(records, _COUNTS, unit)]
    register = next(
        iter(_rows(records, _REGISTER, unit)), {"ward": None, "in_service_on": None, "retired_on": None}
    )
    begins, ends = _span(records, steps, cycles, period, zone)
    return UnitHistory(
        site_id=site,
        unit_id=name,
        **register,
        as_of=records.as_of,
        zone=zone,
        line=tuple(life_line.life_line(_held(records, unit, steps, cycles, begins, ends), begins, ends)),
        steps=tuple(step for step in steps if period.meets(zone, step[0].started_at, step[0].ended_at)),
        cycles=tuple(cycle for cycle in cycles if period.meets(zone, cycle.started_at, cycle.ended_at)),
        parts=tuple(part for part in parts if period.meets(zone, part.fitted_at, part.ended_at)),
        counts=tuple(check for check in counts if period.meets(zone, check.from_at, check.to_at)),
        misreads=tuple(m for m in misreads(counts) if period.meets(zone, m.read_at, m.read_at)),
        remarks=tuple(r for r in _remarks(steps, parts, counts) if period.meets(zone, r.at, r.at)),
    )


def misreads(counts: Sequence[CountCheck]) -> list[Misread]:
    """Return the readings that disagree with both neighbours while these agree with each other."""
    return [
        Misread(before.to_at, before.to_count, before.from_count + before.expected)
        for before, after in pairwise(counts)
        if before.verdict == after.verdict == "likely_misread"
        and before.to_at == after.from_at
        and before.from_count + before.expected + after.expected == after.to_count
    ]


def _span(
    records: Records, steps: Sequence[Step], cycles: Sequence[Cycle], period: Period, zone: ZoneInfo
) -> tuple[datetime, datetime]:
    """Return the time that the life line covers: from the first event on, within the period asked for."""
    events = [*(stay.started_at for stay, _ in steps), *(cycle.started_at for cycle in cycles)]
    if not events:
        raise NothingToDo("Nothing is on record about this unit but its name.")
    first, last = period.bounds(zone)
    begins, ends = max(min(events), first), min(records.as_of, last)
    if begins >= ends:
        raise NothingToDo("Nothing is on record about this unit in that period.")
    return begins, ends


def _held(
    records: Records,
    unit: Unit,
    steps: Sequence[Step],
    cycles: Sequence[Cycle],
    begins: datetime,
    ends: datetime,
) -> Iterator[Segment]:
    for stay, _ in steps:
        state = life_line.DOUBT if stay.overlapping else life_line.USE
        yield Segment(state, stay.started_at, stay.ended_at or ends)
    for cycle in cycles:
        state = life_line.CYCLE if cycle.valid else life_line.BAD_CYCLE
        yield Segment(state, cycle.started_at, cycle.ended_at or cycle.started_at)
    for row in _rows(records, _OUT, unit):
        yield Segment(life_line.OUT, row["withdrawn_at"], row["until"] or ends)
    covered = [(row["starts_at"], row["ends_at"]) for row in _rows(records, _COVERED, unit)]
    yield from life_line.gaps(covered, begins, ends)


def _cycles(records: Records, unit: Unit) -> list[Cycle]:
    places = stays.cycle_places(records, [unit])
    return [
        made(Cycle, row, rows=tuple(places[(*unit, row["started_at"])]))
        for row in _rows(records, _CYCLES, unit)
    ]


def _rows(records: Records, query: str, unit: Unit) -> list[Row]:
    asked = {name: value for name, value in zip(("site", "unit"), unit, strict=True) if f"${name}" in query}
    return rows(records, query, **asked)


def _remarks(steps: Sequence[Step], parts: Sequence[PartOn], counts: Sequence[CountCheck]) -> list[Remark]:
    """Return what stands out, in order of time: unprotected or undecided changeovers, parts, counts."""
    found = [
        Remark(stay.started_at, f"Before this patient: {words.PROOFS[changeover.proof]}.")
        for stay, changeover in steps
        if changeover and changeover.proof not in ("disinfected", SAME_PATIENT)
    ]
    for part in parts:
        name = part.part.replace("_", " ")
        if part.outcome == "overrun" and part.limit_at:
            found.append(
                Remark(part.limit_at, f"The {name} stayed on {part.overrun_h:.0f} h past its limit.")
            )
        if part.carried_over:
            found.append(
                Remark(part.fitted_at, f"The {name} fitted then served {part.carried_over + 1} patients.")
            )
    for check in counts:
        if check.verdict in ("unrecorded", "uncounted", "rollback"):
            said = f"The count went from {check.from_count} to {check.to_count}; {check.expected} cycles are recorded."
            found.append(Remark(check.to_at, said))
    for misread in misreads(counts):
        said = f"The reading of {misread.count} is likely misread; {misread.would_fit} would fit both neighbours."
        found.append(Remark(misread.read_at, said))
    return sorted(found, key=lambda remark: (remark.at, remark.words))
