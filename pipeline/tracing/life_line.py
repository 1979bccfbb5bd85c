"""A unit's time from end to end, each moment in one state, so that nothing in it goes unseen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

USE, DOUBT, CYCLE, BAD_CYCLE, OUT, GAP = "use", "doubt", "cycle", "bad_cycle", "out", "gap"
READY, WAITING, UNKNOWN = "ready", "waiting", "unknown"

#: What a state is called, in the order in which the first one that holds is shown.
STATES = {
    DOUBT: "two patients in the records",
    USE: "in use",
    CYCLE: "valid disinfection",
    BAD_CYCLE: "cycle that does not count",
    OUT: "out of the pool",
    GAP: "records not exported",
    READY: "disinfected and not used since",
    WAITING: "used and not disinfected since",
    UNKNOWN: "nothing known before",
}
_HELD = (DOUBT, USE, CYCLE, BAD_CYCLE, OUT, GAP)
#: What holds from the end of each of these on; where records are missing, nothing of before holds.
_AFTERWARDS = {CYCLE: READY, USE: WAITING, DOUBT: WAITING, GAP: UNKNOWN}


@dataclass(frozen=True)
class Segment:
    """A time [started_at, ended_at) in one state."""

    state: str
    started_at: datetime
    ended_at: datetime


def life_line(held: Iterable[Segment], begins: datetime, ends: datetime) -> list[Segment]:
    """Return a unit's states from one instant to another without a hole between them.

    ``held`` are the times in states that records tell of directly and that may overlap; between them a unit
    is ready, waits, or nothing is known, by whatever ended last.
    """
    told = [_cut(segment, begins, ends) for segment in held]
    told = [segment for segment in told if segment.started_at < segment.ended_at]
    moments = sorted({begins, ends, *(m for segment in told for m in (segment.started_at, segment.ended_at))})
    line: list[Segment] = []
    for start, end in pairwise(moments):
        state = _state(told, start)
        if line and line[-1].state == state:
            start = line.pop().started_at
        line.append(Segment(state, start, end))
    return line


def gaps(covered: Sequence[tuple[datetime, datetime]], begins: datetime, ends: datetime) -> list[Segment]:
    """Return the times in which records were not exported, given those in which they were, in order."""
    found, reached = [], begins
    for start, end in [*covered, (ends, ends)]:
        if start > reached:
            found.append(Segment(GAP, reached, min(start, ends)))
        reached = max(reached, end)
    return [segment for segment in found if segment.started_at < segment.ended_at]


def _cut(segment: Segment, begins: datetime, ends: datetime) -> Segment:
    return Segment(segment.state, max(segment.started_at, begins), min(segment.ended_at, ends))


def _state(told: Sequence[Segment], moment: datetime) -> str:
    now = {segment.state for segment in told if segment.started_at <= moment < segment.ended_at}
    if now:
        return next(state for state in _HELD if state in now)
    before = [s for s in told if s.ended_at <= moment and s.state in _AFTERWARDS]
    if not before:
        return UNKNOWN
    # Of two that ended together use wins: a unit counts as ready only when that is certain.
    last = max(before, key=lambda segment: (segment.ended_at, segment.state != CYCLE))
    return _AFTERWARDS[last.state]
