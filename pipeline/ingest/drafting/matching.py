"""Which canonical column each column of a file is: by its name, and only where its values agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.ingest.drafting.names import EXACT, SIMILAR, means_duration, name_score
from pipeline.ingest.drafting.units import unit_of
from pipeline.ingest.drafting.values import (
    ENOUGH,
    MIDNIGHT,
    TimeGuess,
    Values,
    duration_unit,
    is_clock,
    is_number,
    is_whole,
    time_formats,
)
from pipeline.ingest.drafting.words import code_of, folded
from pipeline.ingest.profiles import CLOCK, COMMON_COLUMNS, DAY, LASTS, Profile, column_of
from pipeline.ingest.quantities import plain_number
from pipeline.records import DATE, INSTANT, Column, Table

#: Below this a match stays open; and by how much the best match must be better than the next.
SURE, _MARGIN = 0.85, 0.05
_MOST_CODES = 25
_NUMBERED = ("unit_id", "patient_ref", "old_ref", "new_ref")


@dataclass(frozen=True)
class Marks:
    """How a file writes numbers."""

    decimal: str = "."
    thousands: str | None = None


@dataclass(frozen=True)
class Match:
    """One way to read a column: as which canonical column or part of one (`DAY`, `CLOCK`, `LASTS`), how sure,
    why, what leaves it open, and what its values need."""

    place: int
    name: str
    column: str
    part: str = ""
    score: float = 0.0
    reasons: tuple[str, ...] = ()
    doubt: str = ""
    formats: tuple[str, ...] = ()
    unit: str | None = None
    codes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Matched:
    """The columns of a file against those of one table: what is sure, and what is left open."""

    table: Table
    sure: tuple[Match, ...]
    open: tuple[Match, ...]

    @property
    def missing(self) -> list[str]:
        """The required columns for which nothing was found."""
        found = {match.column for match in (*self.sure, *self.open)}
        return [column.name for column in self.table.columns if column.required and column.name not in found]


def match_columns(names: Sequence[str], values: Sequence[Values], table: Table, marks: Marks) -> Matched:
    """Match a file's columns with those of a table; pairs that are best for each other come first."""
    candidates = [
        match
        for place, name in enumerate(names)
        if name and values[place].count
        for match in _candidates(place, name, values[place], table, marks)
    ]
    sure: list[Match] = []
    while best := _next_sure(candidates):
        sure.append(best)
        candidates = [
            other
            for other in candidates
            if other.place != best.place and not _excludes(best, other.column, other.part)
        ]
    halves = _halves(sure)
    sure = [match for match in sure if match not in halves]
    taken = {match.place for match in sure}
    done = {match.column for match in sure}
    still_open = [
        match for match in (*halves, *candidates) if match.place not in taken and match.column not in done
    ]
    return Matched(table, tuple(sorted(sure, key=lambda match: match.place)), tuple(_one_each(still_open)))


def _excludes(best: Match, column: str, part: str) -> bool:
    """A column that is found leaves its parts free for nobody, a part only itself."""
    if best.column != column:
        return False
    return best.part in ("", LASTS) or part in ("", LASTS, best.part)


def _next_sure(candidates: Sequence[Match]) -> Match | None:
    for match in sorted(candidates, key=lambda match: -match.score):
        if match.score < SURE or match.doubt:
            continue
        rivals = [
            other.score
            for other in candidates
            if other is not match
            and (other.place == match.place or (other.column == match.column and other.part == match.part))
        ]
        if max(rivals, default=0.0) <= match.score - _MARGIN:
            return match
    return None


def _halves(sure: Sequence[Match]) -> list[Match]:
    """Return the parts of an instant whose other part is not there: half of one is no instant."""
    parts = {(match.column, match.part) for match in sure}
    other = {DAY: CLOCK, CLOCK: DAY}
    return [match for match in sure if match.part in other and (match.column, other[match.part]) not in parts]


def _one_each(matches: Sequence[Match]) -> list[Match]:
    best: dict[int, Match] = {}
    for match in sorted(matches, key=lambda match: -match.score):
        best.setdefault(match.place, match)
    return [best[place] for place in sorted(best)]


def _candidates(place: int, name: str, values: Values, table: Table, marks: Marks) -> list[Match]:
    found = []
    for column in [*table.columns, *(column_of(table, common) for common in COMMON_COLUMNS)]:
        score, reason = name_score(column.name, name, table)
        if score:
            found += _held_against(
                Match(place, name, column.name, "", score, (reason,)), column, values, marks
            )
    if table.ended and means_duration(name) and (unit := duration_unit(values, folded(name))):
        reason = f"its name means a duration, and its values are in {unit}"
        found.append(Match(place, name, table.ended, LASTS, EXACT, (reason,), unit=unit))
    return found


def _held_against(match: Match, column: Column, values: Values, marks: Marks) -> list[Match]:
    """Return the match with what its values say, or nothing where they say no."""
    if column.kind in (INSTANT, DATE):
        return _as_time(match, column, values)
    if column.kind in ("number", "whole"):
        return _as_number(match, column, values, marks)
    if column.kind in ("code", "flag"):
        return _as_code(match, column, values)
    return _as_name(match, column, values)


def _as_name(match: Match, column: Column, values: Values) -> list[Match]:
    """An identifier is no time; a row's own number stands once; a unit's or patient's holds digits."""
    if time_formats(values, with_clock=True).formats or time_formats(values, with_clock=False).formats:
        return []
    if column.name == "source_ref":
        return [match] if values.distinct.height == values.count else []
    if column.name in _NUMBERED and values.share("[0-9]") < 1 - ENOUGH:
        return [_with(match, "", "none of its values holds a digit, as such identifiers do")]
    if match.score == SIMILAR:
        return [_with(match, "", "its name is only nearly one for it, and any text may be an identifier")]
    return [match]


def _as_time(match: Match, column: Column, values: Values) -> list[Match]:
    if is_clock(values):
        return [_with(match, "its values are times of day", "", part=CLOCK)] if column.kind == INSTANT else []
    day = time_formats(values, with_clock=False)
    if column.kind == DATE:
        return [_with(match, day.reason, day.doubt, formats=day.formats)] if day.formats or day.doubt else []
    # A workbook's days come as the midnight that begins them.
    is_day = values.is_typed and values.share(MIDNIGHT) >= ENOUGH
    whole = TimeGuess() if is_day else time_formats(values, with_clock=True)
    if whole.formats or whole.doubt:
        return [_with(match, whole.reason, whole.doubt, formats=whole.formats)]
    if day.formats or day.doubt:
        return [_with(match, day.reason, day.doubt, part=DAY, formats=day.formats)]
    return []


def _as_number(match: Match, column: Column, values: Values, marks: Marks) -> list[Match]:
    if not is_number(values, marks.decimal, marks.thousands) or (
        column.kind == "whole" and not is_whole(values)
    ):
        return []
    shape = Profile(
        "draft",
        (),
        decimal=marks.decimal,
        thousands=marks.thousands,
        format="xlsx" if values.is_typed else "csv",
    )
    guess = unit_of(column.name, match.name, plain_number(values.cells, shape))
    return [_with(match, guess.reason, guess.doubt, unit=guess.unit)]


def _as_code(match: Match, column: Column, values: Values) -> list[Match]:
    said = values.distinct["text"].to_list()
    if len(said) > _MOST_CODES:
        return []
    known = {text: code for text in said if (code := code_of(column.name, text))}
    if not known:
        return []
    unknown = [text for text in said if text not in known]
    rows = int(values.distinct.filter(values.distinct["text"].is_in(unknown))["count"].sum())
    doubt = f"{len(unknown)} of its {len(said)} words are not known ({rows:,} rows)" if unknown else ""
    codes = {text: code for text, code in known.items() if text.lower() != code}
    reason = f"all {len(said)} words in it are known" if not unknown else ""
    return [_with(match, reason, doubt if rows > (1 - ENOUGH) * values.count else "", codes=codes)]


def _with(
    match: Match,
    reason: str,
    doubt: str,
    part: str = "",
    formats: tuple[str, ...] = (),
    unit: str | None = None,
    codes: Mapping[str, str] | None = None,
) -> Match:
    reasons = (*match.reasons, *([reason] if reason else []))
    return Match(
        match.place, match.name, match.column, part, match.score, reasons, doubt, formats, unit, codes or {}
    )
