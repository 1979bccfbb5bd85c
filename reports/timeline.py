"""The pictures of a trace and of a unit's life line."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from itertools import groupby

from markupsafe import Markup

from pipeline.measures import calendar
from pipeline.tracing import life_line
from pipeline.tracing.answer import local, named
from pipeline.tracing.links import Stay, Step
from pipeline.tracing.trace import Trace
from pipeline.tracing.unit_history import UnitHistory
from pipeline.tracing.words import PROOFS
from reports.drawing import LABEL, WIDTH, axis, bar, diamond, line, picture, place, words

_LANE = 40
_TOP = 22
_STRIP = 22
_ROOM_FOR_A_NAME = 64
_DAYS = 31

#: What each look of a trace means.
TRACE_KEYS = (
    ("asked", "asked about"),
    ("linked", "linked (diamond)"),
    ("open", "cannot be judged"),
    ("other", "not linked"),
    ("valid", "valid disinfection (narrow)"),
    ("not_valid", "cycle that does not count (narrow)"),
)

#: A state's look, and how much of a strip it fills: what is thin needs no look, what is full is use.
_STATES = {
    life_line.USE: ("asked", 1.0),
    life_line.DOUBT: ("open", 1.0),
    life_line.CYCLE: ("valid", 1.0),
    life_line.BAD_CYCLE: ("not_valid", 1.0),
    life_line.OUT: ("out", 0.6),
    life_line.GAP: ("gap", 1.0),
    life_line.READY: ("thin", 0.16),
    life_line.WAITING: ("wait", 0.5),
    life_line.UNKNOWN: ("nothing", 0.5),
}
LINE_KEYS = tuple((look, life_line.STATES[state]) for state, (look, _) in _STATES.items())
#: The same by the words for each state.
STATE_LOOKS = {life_line.STATES[state]: look for state, look in _STATES.items()}


def trace_picture(found: Trace) -> Markup:
    """Return one lane per unit, with those stays that links are of, on one time axis."""
    steps = _steps_of_links(found)
    begins = min(stay.started_at for stay, _ in steps)
    ends = max(stay.ended_at or found.as_of for stay, _ in steps)
    lanes = [list(group) for _, group in groupby(steps, key=lambda step: (step[0].site_id, step[0].unit_id))]
    height = _TOP + _LANE * len(lanes)
    drawn = axis(begins, ends, found.zones[steps[0][0].site_id], 0, height)
    for number, lane in enumerate(lanes):
        drawn += _lane(found, lane, _TOP + _LANE * number, begins, ends)
    return picture(drawn, height)


def _steps_of_links(found: Trace) -> list[Step]:
    """Return the stays of links with what ended each list; without a link all that was asked about."""
    linked = {stay for link in found.links for stay in (link.asked, link.met)}
    if not linked:
        return list(found.context)
    after = [False, *(step[0] in linked for step in found.context)]
    told = zip(found.context, after, strict=False)
    return [step for step, after_linked in told if step[0] in linked or after_linked]


def _lane(found: Trace, steps: list[Step], top: float, begins: datetime, ends: datetime) -> Iterator[str]:
    yield words(0, top + 19, f"{steps[0][0].unit_id} ({steps[0][0].site_id})")
    for stay, changeover in steps:
        left = place(stay.started_at, begins, ends)
        width = place(stay.ended_at or found.as_of, begins, ends) - left
        look = _look(found, stay)
        name = named(stay.person, found.references)
        since = f"; before: {PROOFS[changeover.proof]}" if changeover else ""
        zone = found.zones[stay.site_id]
        span = f"{local(stay.started_at, zone)} to {local(stay.ended_at, zone, 'still on')}"
        yield bar(left, top + 6, width, 20, look, f"{name}, {span}{since}")
        if look == "linked":
            yield diamond(left, top + 16)
        if width > _ROOM_FOR_A_NAME:
            yield words(left + 8, top + 37, name[:8], 'fill="var(--faint)" font-size="9.5"')
        shown = [cycle for cycle in changeover.cycles if cycle.started_at >= begins] if changeover else []
        for cycle in shown:
            at = place(cycle.started_at, begins, ends)
            until = place(cycle.ended_at or cycle.started_at, begins, ends)
            told = f"cycle, {local(cycle.started_at, zone)}: {'valid' if cycle.valid else 'does not count'}"
            yield bar(at, top, max(until - at, 3), 32, "valid" if cycle.valid else "not_valid", told)


def _look(found: Trace, stay: Stay) -> str:
    judged = {link.is_judged for link in found.links if link.met == stay}
    if True in judged:
        return "linked"
    if False in judged:
        return "open"
    return "asked" if stay in found.stays else "other"


def life_line_picture(found: UnitHistory) -> Markup:
    """Return one strip for each local month, a day as wide in each."""
    first, last = found.line[0].started_at, found.line[-1].ended_at
    months = [
        month for month in calendar.local_months(found.zone, first.date(), last.date())
        if month[2] < last and month[3] > first
    ]  # fmt: skip
    height = _TOP + _STRIP * len(months)
    drawn = [*_days(height)]
    for number, (_, name, starts, ends) in enumerate(months):
        drawn += _strip(found, name, starts, ends, _TOP + _STRIP * number)
    return picture(drawn, height)


def _days(height: float) -> Iterator[str]:
    for day in range(1, _DAYS + 1, 5):
        x = _x(day - 1)
        yield line(x, 0, height)
        yield words(x + 3, 11, str(day), 'fill="var(--faint)"')


def _strip(found: UnitHistory, month: str, starts: datetime, ends: datetime, top: float) -> Iterator[str]:
    yield words(0, top + 14, f"{date.fromisoformat(f'{month}-01'):%b %Y}")
    for segment in found.line:
        begins, finishes = max(segment.started_at, starts), min(segment.ended_at, ends)
        if begins < finishes:
            look, share = _STATES[segment.state]
            left, right = (_x((moment - starts).total_seconds() / 86400) for moment in (begins, finishes))
            span = f"{local(segment.started_at, found.zone)} to {local(segment.ended_at, found.zone)}"
            tall = (_STRIP - 6) * share
            top_of_bar = top + 3 + (_STRIP - 6 - tall) / 2
            yield bar(
                left, top_of_bar, right - left, tall, look, f"{life_line.STATES[segment.state]}: {span}"
            )


def _x(days: float) -> float:
    """Return where a time since the start of a month lies; the hour that autumn adds goes past the last day."""
    return LABEL + (WIDTH - LABEL - 2) * min(days / _DAYS, 1)
