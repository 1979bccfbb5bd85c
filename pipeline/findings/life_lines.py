"""Each unit's recent months as a line of states, from the published stays and cycles."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

import polars as pl

from pipeline.findings.model import Span, UnitLine
from pipeline.findings.months import month_bounds
from pipeline.findings.source import Source
from pipeline.findings.wording import UNPROTECTED
from pipeline.tracing.life_line import BAD_CYCLE, CYCLE, DOUBT, GAP, STATES, USE, Segment, life_line

#: The month of the report and those before it.
_MONTHS = 3

#: Without either kind of record a unit's state cannot be known.
_NEEDED = ("episodes", "disinfections")


def line_months(source: Source) -> tuple[str, ...]:
    """Return the months that the lines cover, the last that of the report."""
    return source.months[-_MONTHS:]


def unit_lines(source: Source) -> tuple[UnitLine, ...]:
    """Return the line of each unit that was in use or disinfected in these months, in the order of names.

    Times in repair or on loan are in no published table: such time reads as ready or waiting.
    """
    months = line_months(source)
    begins, ends = month_bounds(source.rules, months[0])[0], min(source.bounds[1], source.published.as_of)
    if begins >= ends:
        return ()
    gaps = _gaps(source, months)
    held: dict[str, list[Segment]] = {}
    for unit, segment in (*_stays(source, ends), *_cycles(source)):
        held.setdefault(unit, []).append(segment)
    lines = ((unit, _line(segments, gaps, begins, ends)) for unit, segments in sorted(held.items()))
    marks = _unprotected(source, begins, ends)
    return tuple(UnitLine(unit, line, tuple(marks.get(unit, ()))) for unit, line in lines if line)


def _stays(source: Source, ends: datetime) -> Iterable[tuple[str, Segment]]:
    rows = source.facts("patient_stays").select("unit_id", "started_at", "ended_at", "overlapping")
    for unit, started, ended, overlapping in rows.iter_rows():
        yield unit, Segment(DOUBT if overlapping else USE, started, ended or ends)


def _cycles(source: Source) -> Iterable[tuple[str, Segment]]:
    rows = source.facts("disinfection_cycles").select("unit_id", "started_at", "ended_at", "valid")
    for unit, started, ended, valid in rows.iter_rows():
        yield unit, Segment(CYCLE if valid else BAD_CYCLE, started, ended or started)


def _unprotected(source: Source, begins: datetime, ends: datetime) -> dict[str, list[datetime]]:
    """Return when stays after an unprotected changeover began, by unit."""
    rows = source.facts("changeovers").filter(
        pl.col("proof").is_in(UNPROTECTED), pl.col("to_started_at").is_between(begins, ends, closed="left")
    )
    found: dict[str, list[datetime]] = {}
    for unit, at in rows.select("unit_id", "to_started_at").sort("unit_id", "to_started_at").iter_rows():
        found.setdefault(unit, []).append(at)
    return found


def _gaps(source: Source, months: tuple[str, ...]) -> list[Segment]:
    """Return the months in which one of the records needed was not exported."""
    covered = source.covered_by(_NEEDED)
    return [Segment(GAP, *month_bounds(source.rules, month)) for month in months if month not in covered]


def _line(held: list[Segment], gaps: list[Segment], begins: datetime, ends: datetime) -> tuple[Span, ...]:
    """Return a unit's states between two instants; what was before decides whether it is ready or waits at first."""
    seen = [segment for segment in held if segment.ended_at >= begins and segment.started_at < ends]
    if not seen:
        return ()
    before = [segment for segment in held if segment.ended_at < begins]
    last = [
        max(own, key=lambda segment: segment.ended_at)
        for own in ([s for s in before if s.state == CYCLE], [s for s in before if s.state in (USE, DOUBT)])
        if own
    ]
    since = min((segment.started_at for segment in (*last, *seen)), default=begins)
    line = life_line((*seen, *last, *gaps), min(since, begins), ends)
    return tuple(
        Span(STATES[segment.state], max(segment.started_at, begins), segment.ended_at)
        for segment in line
        if segment.ended_at > begins
    )
