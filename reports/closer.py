"""What a reader may look closer at: the wards and units that the page's lists name, and the units' life lines."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from markupsafe import Markup

from pipeline.findings.model import SiteFindings, Table, UnitLine
from pipeline.findings.months import month_label
from pipeline.tracing.life_line import OUT, STATES
from reports.drawing import HATCH, bar
from reports.timeline import STATE_LOOKS

#: Columns that name a ward, and the word in them that stands for the whole site; and those that name a unit.
WARD_COLUMNS, WHOLE_SITE, UNIT_COLUMNS = ("Ward", "Where"), "the site", ("Unit",)

#: Height of a strip; a state fills all of it, or a part that says as much as its colour.
_STRIP = 16
#: The states of a line; when a unit was in repair or on loan is in no table that the report is made from.
_STATES = {words: look for words, look in STATE_LOOKS.items() if words != STATES[OUT]}
_DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"


def wards_and_units(tables: Iterable[Table], lines: Iterable[UnitLine]) -> tuple[list[str], list[str]]:
    """Return every ward and every unit by which the tables can be filtered, each in the order of names."""
    listed = list(tables)
    wards = {name for table in listed for name in _named(table, WARD_COLUMNS)} - {WHOLE_SITE}
    units = {name for table in listed for name in _named(table, UNIT_COLUMNS)}
    return sorted(wards), sorted(units | {line.unit_id for line in lines})


def _named(table: Table, columns: tuple[str, ...]) -> Iterator[str]:
    places = [place for place, column in enumerate(table.columns) if column.name in columns]
    return (str(row[place]) for row in table.rows for place in places if row[place] is not None)


def state_keys() -> Iterator[tuple[str, Markup]]:
    """Yield each state in words and a piece of a life line in it, from which the browser draws the lines."""
    pattern = HATCH
    for words, (look, share) in _STATES.items():
        tall = _STRIP * share
        drawn = bar(0, (_STRIP - tall) / 2, 14, tall, look, words)
        yield words, Markup(f'<svg viewBox="0 0 14 {_STRIP}" aria-hidden="true">{pattern}{drawn}</svg>')  # noqa: S704 no name in it
        pattern = ""


def packed_lines(findings: SiteFindings) -> str:
    """Return the life lines as JSON.

    A unit's line is a text: for each span a letter, A for the first state, and its local minutes to base 36. After
    a bar follow the minutes, from the start of the line, of each changeover without proof.
    """
    zone = ZoneInfo(findings.time_zone)
    months = [_month(month) for month in findings.line_months]
    begins = datetime.fromisoformat(f"{findings.line_months[0]}-01") if months else datetime.min
    lines = {line.unit_id: _line(line, begins, zone) for line in findings.lines}
    return json.dumps({"months": months, "lines": lines}, separators=(",", ":"), ensure_ascii=False)


def _month(month: str) -> list[str | int]:
    first = date.fromisoformat(f"{month}-01")
    days = ((first + timedelta(days=32)).replace(day=1) - first).days
    return [month_label(month), days]


def _line(line: UnitLine, begins: datetime, zone: ZoneInfo) -> str:
    """Return a line by the clock on the wall; the hour that autumn has twice is there once."""
    letters = {words: chr(ord("A") + place) for place, words in enumerate(_STATES)}
    drawn, reached = [], 0
    for span in line.spans:
        until = max(_minutes(span.ended_at, begins, zone), reached)
        drawn.append(letters[span.state] + _base_36(until - reached))
        reached = until
    return "".join(drawn) + "|" + ",".join(_base_36(_minutes(at, begins, zone)) for at in line.marks)


def _minutes(moment: datetime, begins: datetime, zone: ZoneInfo) -> int:
    local = moment.replace(tzinfo=UTC).astimezone(zone).replace(tzinfo=None)
    return max(0, round((local - begins).total_seconds() / 60))


def _base_36(number: int) -> str:
    """Return a whole number to base 36.

    >>> _base_36(0), _base_36(36), _base_36(44640)
    ('0', '10', 'yg0')
    """
    digits = _DIGITS[number % 36]
    return _base_36(number // 36) + digits if number >= 36 else digits
