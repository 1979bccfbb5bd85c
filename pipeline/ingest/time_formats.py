"""Declared ways to write a time, read into ISO 8601 text: what does not fit one exactly is not read.

A format is ``iso``, a spreadsheet's serial number, or a pattern in the directives of C's strptime. Whether
the day exists is left to the strict rules of `normalise`, which read the ISO text.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import polars as pl

ISO = "iso"
#: Days since a workbook's epoch, whole or with the time as a fraction.
SERIALS = ("serial_1900", "serial_1904")

_DIRECTIVES = {
    "d": "(?P<d>3[01]|[12][0-9]|0?[1-9])",
    "m": "(?P<m>1[0-2]|0?[1-9])",
    "Y": "(?P<Y>[0-9]{4})",
    "y": "(?P<y>[0-9]{2})",
    "b": "(?P<b>[A-Za-z]{3})",
    "B": "(?P<b>[A-Za-z]{3,9})",
    "H": "(?P<H>2[0-4]|[01]?[0-9])",
    "I": "(?P<I>1[0-2]|0?[1-9])",
    "p": "(?P<p>[AaPp][Mm])",
    "M": "(?P<M>[0-5][0-9])",
    "S": "(?P<S>[0-5][0-9])(?:[.,][0-9]+)?",
    "z": "(?P<z>Z|[+-][0-9]{2}:?[0-9]{2})",
}
_SECONDS = "(?::(?P<S>[0-5][0-9]))?"
_MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
_MONTH_NUMBERS = {part: f"{place:02d}" for place, name in enumerate(_MONTHS, 1) for part in (name, name[:3])}
_ISO_INSTANT = (
    r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?(Z|[+-][0-9]{2}:?[0-9]{2})?$"
)
_ISO_DATE = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
#: The days from which serials count. The 1900 system knows a 29 February 1900 that never was: a day earlier.
_EPOCHS = {"serial_1900": "1899-12-30", "serial_1904": "1904-01-01"}
_SERIAL = r"^[0-9]{4,6}(\.[0-9]+)?$"
_DAY_S = 86_400


def format_fault(stated: str, with_clock: bool) -> str | None:
    """Return what is wrong with a declared format, else None.

    >>> format_fault("%d/%m/%Y", with_clock=True)
    'has no hour and minute (%H:%M).'
    """
    if stated == ISO or stated in SERIALS:
        return None
    found = re.findall(r"%(.)", stated)
    unknown = sorted({f"%{letter}" for letter in found if letter not in _DIRECTIVES})
    if unknown:
        return f"has {', '.join(unknown)}; known are {', '.join(f'%{letter}' for letter in _DIRECTIVES)}."
    if len(found) != len(set(found)):
        return "has a directive twice."
    if "d" not in found or not {"m", "b", "B"} & set(found) or not {"Y", "y"} & set(found):
        return 'does not give day, month and year, as "%d/%m/%Y" does.'
    has_clock = "M" in found and ("H" in found or {"I", "p"} <= set(found))
    if with_clock and not has_clock:
        return "has no hour and minute (%H:%M)."
    return "has a time of day; a date has none." if not with_clock and set("HIMSpz") & set(found) else None


def read_times(texts: pl.Series, formats: Sequence[str], with_clock: bool) -> pl.Series:
    """Return each text as ISO 8601, by the first format that it fits; null where it fits none."""
    read = pl.Series(texts.name, [None] * len(texts), pl.String)
    for stated in formats:
        if read.null_count() == texts.null_count():
            break
        made = _by_format(texts, stated, with_clock)
        read = pl.select(pl.coalesce(read, made)).to_series().alias(texts.name)
    return read


def swapped(stated: str) -> str | None:
    """Return a format with day and month in each other's place, None where they cannot be mixed up.

    >>> swapped("%d/%m/%Y %H:%M")
    '%m/%d/%Y %H:%M'
    """
    if "%d" not in stated or "%m" not in stated:
        return None
    return stated.replace("%d", "\0").replace("%m", "%d").replace("\0", "%m")


def _by_format(texts: pl.Series, stated: str, with_clock: bool) -> pl.Series:
    if stated == ISO:
        pattern = _ISO_INSTANT if with_clock else _ISO_DATE
        return _next_day_at_24(_where(texts, texts.str.contains(pattern)))
    if stated in SERIALS:
        return _from_serial(texts, _EPOCHS[stated], with_clock)
    parts = texts.str.extract_groups(format_pattern(stated)).struct.unnest()
    return _next_day_at_24(parts.select(_iso(parts.columns, with_clock).alias(texts.name)).to_series())


def _where(texts: pl.Series, fits: pl.Series) -> pl.Series:
    return texts.set(~fits.fill_null(False), None)


def format_pattern(stated: str) -> str:
    """Return the regular expression of a format in strptime's directives; after %M without %S, seconds may follow."""
    pattern = "".join(
        _DIRECTIVES[piece[1]] if piece.startswith("%") else re.escape(piece)
        for piece in re.findall(r"%.|[^%]+", stated)
    )
    if "%S" not in stated:
        pattern = pattern.replace(_DIRECTIVES["M"], _DIRECTIVES["M"] + _SECONDS)
    return f"^{pattern}$"


def _iso(groups: Sequence[str], with_clock: bool) -> pl.Expr:
    year = pl.col("Y") if "Y" in groups else "20" + pl.col("y")
    month = pl.col("m").str.zfill(2) if "m" in groups else _month_number()
    day = year + "-" + month + "-" + pl.col("d").str.zfill(2)
    if not with_clock:
        return day
    second = pl.col("S").fill_null("00") if "S" in groups else pl.lit("00")
    offset = pl.col("z") if "z" in groups else pl.lit("")
    return day + "T" + _hour(groups) + ":" + pl.col("M") + ":" + second + offset


def _month_number() -> pl.Expr:
    return pl.col("b").str.to_lowercase().replace_strict(_MONTH_NUMBERS, default=None, return_dtype=pl.String)


def _hour(groups: Sequence[str]) -> pl.Expr:
    if "I" not in groups or "p" not in groups:
        return pl.col("H").str.zfill(2)
    of_twelve = pl.col("I").cast(pl.Int64) % 12
    afternoon = pl.col("p").str.to_lowercase() == "pm"
    return (of_twelve + pl.when(afternoon).then(12).otherwise(0)).cast(pl.String).str.zfill(2)


def _next_day_at_24(read: pl.Series) -> pl.Series:
    """Midnight written as the end of a day is the start of the next; any other time after 24:00 is none."""
    late = read.str.contains(r"^.{10}[T ]24:").fill_null(False)
    if not late.any():
        return read
    text, is_late = pl.col("read"), pl.col("late")
    next_day = text.str.slice(0, 10).str.to_date("%Y-%m-%d", strict=False).dt.offset_by("1d")
    offset = text.str.extract(r"(Z|[+-][0-9]{2}:?[0-9]{2})$").fill_null("")
    moved = next_day.dt.strftime("%Y-%m-%d") + "T00:00:00" + offset
    is_midnight = text.str.contains(r"^.{10}[T ]24:00(:00(\.0+)?)?(Z|[+-].*)?$")
    fixed = pl.when(is_late & is_midnight).then(moved).when(~is_late).then(text)
    return pl.DataFrame({"read": read, "late": late}).select(fixed.alias(read.name)).to_series()


def _from_serial(texts: pl.Series, epoch: str, with_clock: bool) -> pl.Series:
    """Return the instants of serial numbers to the nearest second: a fraction of a day is seldom exact."""
    number = pl.when(pl.col("text").str.contains(_SERIAL)).then("text").cast(pl.Float64, strict=False)
    seconds = (number * _DAY_S).round().cast(pl.Int64)
    start = pl.lit(epoch).str.to_datetime("%Y-%m-%d", time_unit="us")
    instant = start + pl.duration(seconds=seconds, time_unit="us")
    whole = instant if with_clock else pl.when(seconds % _DAY_S == 0).then(instant)
    shown = whole.dt.strftime("%Y-%m-%dT%H:%M:%S" if with_clock else "%Y-%m-%d")
    return pl.DataFrame({"text": texts}).select(shown.alias(texts.name)).to_series()
