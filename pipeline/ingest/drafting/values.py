"""What the values of a column could be, with the counts that say so."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, field

import polars as pl

from pipeline.ingest.quantities import number_pattern
from pipeline.ingest.time_formats import ISO, format_pattern, read_times, swapped

#: Share of the values that must fit, so that a few bad cells do not hide what a column is.
ENOUGH = 0.95
_DAYS = (
    "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d", "%Y.%m.%d", "%d/%m/%y", "%m/%d/%y",
    "%d.%m.%y", "%d-%b-%Y", "%d %b %Y", "%d-%b-%y", "%d %B %Y", "%b %d, %Y", "%B %d, %Y", "%d%b%Y",
)  # fmt: skip
_CLOCKS = (
    " %H:%M",
    " %H:%M:%S",
    "T%H:%M:%S",
    "T%H:%M",
    ", %H:%M",
    " %I:%M %p",
    " %I:%M:%S %p",
    " %Hh%M",
    " - %H:%M",
)
INSTANT_FORMATS = (ISO, *map("".join, itertools.product(_DAYS, _CLOCKS)), "%Y%m%d %H%M", "%Y%m%d%H%M%S")
DAY_FORMATS = (ISO, *_DAYS, "%Y%m%d")
_CLOCK = r"^(?:1899-12-3[01][T ]|1904-01-01[T ])?(?:2[0-4]|[01]?[0-9]):[0-5][0-9](?::[0-5][0-9])?$"
_LASTED = (
    r"^(?:[0-9]{1,4}:[0-5][0-9](?::[0-5][0-9])?|(?:1899-12-31|190[0-3]-[0-9]{2}-[0-9]{2})[T ][0-9:]{8})$"
)
_SERIAL = r"^[3-6][0-9]{4}(?:\.[0-9]+)?$"
MIDNIGHT = r"[T ]00:00(?::00)?$"


@dataclass(frozen=True)
class TimeGuess:
    """The formats that a column's values fit, why, and what leaves them open."""

    formats: tuple[str, ...] = ()
    reason: str = ""
    doubt: str = ""


#: Distinct values among which the formats worth counting are found.
_SAMPLE = 150


@dataclass(frozen=True)
class Values:
    """The filled cells of a column, trimmed, and the distinct ones among them with their counts.

    ``guesses`` keeps what `time_formats` found, which many tables ask for.
    """

    cells: pl.Series
    distinct: pl.DataFrame
    is_typed: bool
    guesses: dict[bool, TimeGuess] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many cells are filled."""
        return len(self.cells)

    def share(self, pattern: str) -> float:
        """Return the share of filled cells that fit a regular expression."""
        fits = self.distinct["text"].str.contains(pattern)
        return self._count(fits) / self.count if self.count else 0.0

    def _count(self, fits: pl.Series) -> int:
        return int(self.distinct.filter(fits)["count"].sum())


def values_of(cells: pl.Series, is_typed: bool) -> Values:
    """Look at the cells of one column."""
    filled = cells.str.strip_chars().replace("", None).drop_nulls().alias("text")
    return Values(filled, filled.value_counts(name="count", sort=True), is_typed)


def is_number(values: Values, decimal: str, thousands: str | None) -> bool:
    """Say whether nearly all values are numbers with these marks, or plain ones of a typed file."""
    patterns = [number_pattern(decimal, thousands)] + ([number_pattern(".", None)] if values.is_typed else [])
    return any(values.share(pattern) >= ENOUGH for pattern in patterns)


def is_whole(values: Values) -> bool:
    """Say whether nearly all values are whole numbers."""
    return values.share(r"^[+-]?[0-9]{1,15}(?:\.0+)?$") >= ENOUGH


def is_clock(values: Values) -> bool:
    """Say whether nearly all values are a time of day alone."""
    return values.share(_CLOCK) >= ENOUGH


def duration_unit(values: Values, name: str) -> str | None:
    """Return the unit of a column of durations, None where its values are none or do not say which."""
    if values.share(_LASTED) >= ENOUGH:
        return "h:mm"
    if is_number(values, ".", None):
        words = name.split()
        named = {
            "min": ("min", "minutes", "minuten", "mins"),
            "h": ("h", "hours", "stunden", "std"),
            "s": ("s", "sec"),
        }
        return next((unit for unit, said in named.items() if set(said) & set(words)), None)
    return None


def time_formats(values: Values, with_clock: bool) -> TimeGuess:
    """Tell how a column's times are written; day and month must be told apart by some value."""
    if with_clock not in values.guesses:
        values.guesses[with_clock] = _time_formats(values, with_clock)
    return values.guesses[with_clock]


def _time_formats(values: Values, with_clock: bool) -> TimeGuess:
    if values.share(r"[0-9].*[0-9]") < ENOUGH:
        return TimeGuess()
    if values.share(_SERIAL) >= ENOUGH:
        return TimeGuess(
            doubt="these look like a spreadsheet's day numbers; declare serial_1900 or serial_1904"
        )
    texts = values.distinct["text"]
    if not with_clock:
        texts = texts.str.replace(MIDNIGHT, "") if values.is_typed else texts
    sample = texts.head(_SAMPLE).to_list()
    fits = {
        stated: values._count(read_times(texts, [stated], with_clock).is_not_null())
        for stated in (INSTANT_FORMATS if with_clock else DAY_FORMATS)
        if stated == ISO or any(re.match(format_pattern(stated), text) for text in sample)
    }
    best = max(fits, key=lambda stated: fits[stated])
    if fits[best] < ENOUGH * values.count:
        return _two_formats(values, texts, fits, with_clock)
    counted = f"{fits[best]:,} of {values.count:,} values fit {best}"
    other = _other_order(best)
    if other is None:
        return TimeGuess((best,), counted)
    other_way = values._count(read_times(texts, [other], with_clock).is_not_null())
    if other_way == fits[best]:
        return TimeGuess(doubt=f"every value fits {best} and {other}: day and month cannot be told apart")
    return TimeGuess((best,), f"{counted}, and only {other_way:,} fit {other}")


def _other_order(stated: str) -> str | None:
    """Return the format with day and month exchanged; after a year the month comes first everywhere."""
    return None if stated.startswith("%Y") else swapped(stated)


def _two_formats(values: Values, texts: pl.Series, fits: dict[str, int], with_clock: bool) -> TimeGuess:
    """Two ways of writing in one column, such as with and without seconds; neither may be ambiguous."""
    best = max(fits, key=lambda stated: fits[stated])
    unread = read_times(texts, [best], with_clock).is_null()
    rest = {
        stated: values._count(unread & read_times(texts, [stated], with_clock).is_not_null())
        for stated in fits
    }
    second = max(rest, key=lambda stated: rest[stated])
    together = fits[best] + rest[second]
    others = {stated: other for stated in (best, second) if (other := _other_order(stated))}
    if together < ENOUGH * values.count or not fits[best] or second in others.values():
        return TimeGuess()
    for stated, other in others.items():
        if values._count(read_times(texts, [other], with_clock).is_not_null()) >= fits[stated]:
            doubt = f"the values fit {best} and {second}, but day and month cannot be told apart"
            return TimeGuess(doubt=doubt)
    return TimeGuess((best, second), f"{together:,} of {values.count:,} values fit {best} or {second}")
