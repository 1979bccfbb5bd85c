"""Numbers as exports write them, and the closed list of units that are converted."""

from __future__ import annotations

import polars as pl

from pipeline.ingest.profiles import Profile

#: What a number of each named unit is multiplied by; Fahrenheit has another zero too.
_FACTORS = {"L/s": 60.0, "L/h": 1 / 60, "mL/min": 0.001, "fraction": 100.0, "L": 1000.0, "weeks": 7.0}
_FAHRENHEIT_ZERO = 32.0
_SPACES = "[\u00a0\u202f ]"
_MINUTES = {"s": 1 / 60, "min": 1.0, "h": 60.0, "d": 1440.0}
#: Decimal places kept after a conversion, so that 98.6 °F is 37 °C and not 37.00000000000001.
_PLACES = 6
_PLAIN = r"^[+-]?([0-9]{1,15}(\.[0-9]+)?|\.[0-9]+)$"
_CLOCKS = {
    "h:mm": r"^([0-9]{1,4}):([0-5][0-9])(?::([0-5][0-9]))?$",
    "h:mm:ss": r"^([0-9]{1,4}):([0-5][0-9]):([0-5][0-9])$",
}
#: A workbook's cell of a duration comes as an instant counted from the day before its first.
_FROM_EPOCH = r"^(1899-12-31|190[0-3]-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}):([0-9]{2}):([0-9]{2})"


def number_pattern(decimal: str, thousands: str | None) -> str:
    """Return the regular expression of a number with these marks; groups of thousands must be of three."""
    whole = "[0-9]+"
    if thousands:
        whole = f"(?:[0-9]{{1,3}}(?:{_class_of(thousands)}[0-9]{{3}})+|[0-9]+)"
    return f"^[+-]?(?:{whole}(?:[{decimal}][0-9]+)?|[{decimal}][0-9]+)$"


def _class_of(thousands: str) -> str:
    return _SPACES if thousands == " " else f"[{thousands}]"


def plain_number(texts: pl.Series, profile: Profile) -> pl.Series:
    """Return numbers with a decimal point and no marks of thousands; null for anything else.

    >>> german = Profile("x", ("x",), "units", decimal=",", thousands=".")
    >>> plain_number(pl.Series(["1.299,5", "1299,5", "12.5"]), german).to_list()
    ['1299.5', '1299.5', None]
    """
    written = _unmarked(texts, profile)
    if not profile.is_typed or profile.decimal == ".":
        return written
    # A cell that is a number comes with a point, whatever the texts beside it are written with.
    typed = texts.set(~texts.str.contains(_PLAIN).fill_null(False), None)
    return typed.fill_null(written)


def _unmarked(texts: pl.Series, profile: Profile) -> pl.Series:
    fits = texts.str.contains(number_pattern(profile.decimal, profile.thousands)).fill_null(False)
    numbers = texts.set(~fits, None)
    if profile.thousands:
        numbers = numbers.str.replace_all(_class_of(profile.thousands), "")
    return numbers.str.replace(",", ".", literal=True) if profile.decimal == "," else numbers


def converted(numbers: pl.Series, unit: str) -> pl.Series:
    """Return numbers of a named unit in the contract's own.

    >>> converted(pl.Series(["98.6", "95"]), "degF").to_list()
    ['37.0', '35.0']
    """
    value = numbers.cast(pl.Float64, strict=False)
    made = (value - _FAHRENHEIT_ZERO) * 5 / 9 if unit == "degF" else value * _FACTORS[unit]
    return made.round(_PLACES).cast(pl.String)


def minutes_of(texts: pl.Series, unit: str) -> pl.Series:
    """Return durations in minutes; null where a text is none.

    >>> minutes_of(pl.Series(["1:30", "26:05", "1:60", "x"]), "h:mm").to_list()
    [90.0, 1565.0, None, None]
    """
    if unit in _MINUTES:
        fits = texts.str.contains(r"^[0-9]{1,9}(\.[0-9]+)?$").fill_null(False)
        return texts.set(~fits, None).cast(pl.Float64) * _MINUTES[unit]
    parts = texts.str.extract_groups(_CLOCKS[unit]).struct.unnest()
    hours, minutes, seconds = (pl.col(name).cast(pl.Float64) for name in parts.columns)
    written = parts.select((hours * 60 + minutes + seconds.fill_null(0) / 60).alias("minutes"))["minutes"]
    return written.fill_null(_since_epoch(texts))


def _since_epoch(texts: pl.Series) -> pl.Series:
    """Return the minutes of a workbook's duration cells: 26:05 comes as 1900-01-01 02:05:00."""
    parts = texts.str.extract_groups(_FROM_EPOCH).struct.unnest()
    day, *clock = parts.columns
    days = (pl.col(day).str.to_date("%Y-%m-%d", strict=False) - pl.date(1899, 12, 31)).dt.total_days()
    hours, minutes, seconds = (pl.col(name).cast(pl.Float64) for name in clock)
    return parts.select((days * 1440 + hours * 60 + minutes + seconds / 60).alias("minutes"))["minutes"]
