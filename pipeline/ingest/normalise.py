"""From text to values: a strict pattern first, then the cast, so that no engine's own idea of one gets in.

A value that does not fit is empty and its text is not; the row rules tell the two apart.
"""

from __future__ import annotations

import polars as pl

from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.labels import LABEL
from pipeline.records import DATE, INSTANT, Column, Table

#: Marks the columns that still hold what the file says.
TEXT = "text."
#: Mark what a local time without an offset may be: twice on the clock, or never.
TWICE, NEVER = ".twice", ".never"
_WALL, _OFFSET = ".wall", ".offset"

_NUMBER = r"^[+-]?([0-9]{1,15}(\.[0-9]+)?|\.[0-9]+)$"
_WHOLE = r"^[+-]?[0-9]{1,15}$"
_DATE = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
_INSTANT = (
    r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[T ]([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9](\.[0-9]+)?)?"
    r"(Z|[+-](0[0-9]|1[0-4]):?[0-5][0-9])?$"
)
_FLAGS = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
EXPORTED_AT = Column("exported_at", INSTANT, required=False)


def text_of(column: Column | str) -> pl.Expr:
    """Return what the file says in a column: trimmed, empty where it says nothing."""
    return pl.col(TEXT + (column if isinstance(column, str) else column.name))


def as_text(rows: pl.DataFrame, table: Table) -> pl.LazyFrame:
    """Return every column that the table may have as trimmed text, empty where the file has none of it."""
    names = [*table.names, EXPORTED_AT.name]
    absent = [pl.lit(None, pl.String).alias(TEXT + name) for name in names if name not in rows.columns]
    present = [
        pl.col(name).str.strip_chars().replace("", None).alias(TEXT + name)
        for name in names
        if name in rows.columns
    ]
    return rows.lazy().select(SOURCE_ROW, *present, *absent)


def with_values(rows: pl.LazyFrame, table: Table, zone: str) -> pl.LazyFrame:
    """Add each column's value, and for instants what the local clock in ``zone`` makes doubtful.

    In three steps, because Polars would else work out the same pattern again for every use of it.
    """
    columns = (*table.columns, EXPORTED_AT)
    instants = [column.name for column in columns if column.kind == INSTANT]
    others = [column for column in columns if column.kind != INSTANT]
    return (
        rows.with_columns(
            _READ.get(column.kind, _as_it_is)(text_of(column), column).alias(column.name) for column in others
        )
        .with_columns(_matching(text_of(name), _INSTANT).alias(name) for name in instants)
        .with_columns(part for name in instants for part in _clock_and_offset(name))
        .with_columns(part for name in instants for part in _instant(name, zone))
        .drop(name + mark for name in instants for mark in (_WALL, _OFFSET))
    )


def _as_it_is(text: pl.Expr, column: Column) -> pl.Expr:
    """A lot that still is a label could not be read; every other text is its own value."""
    return pl.when(~text.str.contains(LABEL)).then(text) if column.name == "lot" else text


def _number(text: pl.Expr, _: Column) -> pl.Expr:
    return _matching(text, _NUMBER).cast(pl.Float64, strict=False)


def _whole(text: pl.Expr, _: Column) -> pl.Expr:
    return _matching(text, _WHOLE).cast(pl.Int64, strict=False)


def _flag(text: pl.Expr, _: Column) -> pl.Expr:
    return text.str.to_lowercase().replace_strict(_FLAGS, default=None, return_dtype=pl.Boolean)


def _code(text: pl.Expr, column: Column) -> pl.Expr:
    lowered = text.str.to_lowercase()
    return pl.when(lowered.is_in(column.codes)).then(lowered)


def _date(text: pl.Expr, _: Column) -> pl.Expr:
    return _matching(text, _DATE).str.to_date("%Y-%m-%d", strict=False)


_READ = {"number": _number, "whole": _whole, "flag": _flag, "code": _code, DATE: _date}


def _matching(text: pl.Expr, pattern: str) -> pl.Expr:
    return pl.when(text.str.contains(pattern)).then(text)


def _clock_and_offset(name: str) -> list[pl.Expr]:
    """Return what a clock on the wall shows, in whole seconds, and the offset from UTC that is stated."""
    shaped = pl.col(name)
    minute = shaped.str.slice(0, 16).str.replace(" ", "T", literal=True)
    seconds = (
        pl.when(shaped.str.slice(16, 1) == ":").then(shaped.str.slice(17, 2)).cast(pl.Int64).fill_null(0)
    )
    tail = shaped.str.slice(16).str.strip_chars_start("0123456789:.")
    hours, minutes = (tail.str.slice(place, 2).cast(pl.Int64, strict=False) for place in (1, -2))
    sign = pl.when(tail.str.starts_with("-")).then(-1).otherwise(1)
    offset = pl.when(tail == "Z").then(0).when(tail != "").then(sign * (hours * 60 + minutes))
    # Without a cache: a unit's log hardly ever shows the same minute twice.
    wall = minute.str.to_datetime("%Y-%m-%dT%H:%M", strict=False, time_unit="us", cache=False)
    return [
        (wall + pl.duration(seconds=seconds, time_unit="us")).alias(name + _WALL),
        pl.duration(minutes=offset, time_unit="us").alias(name + _OFFSET),
    ]


def _instant(name: str, zone: str) -> list[pl.Expr]:
    """Return the instant, and whether its local time occurs twice (the earlier counts) or never.

    An offset wins; a time without one is on the clock of ``zone``.
    """
    offset = pl.col(name + _OFFSET)
    wall = pl.when(offset.is_null()).then(name + _WALL)
    earlier, later = (
        wall.dt.replace_time_zone(zone, ambiguous=which, non_existent="null")
        .dt.convert_time_zone("UTC")
        .dt.replace_time_zone(None)
        for which in ("earliest", "latest")
    )
    return [
        pl.coalesce(pl.col(name + _WALL) - offset, earlier).alias(name),
        (earlier != later).fill_null(False).alias(name + TWICE),
        (wall.is_not_null() & earlier.is_null()).alias(name + NEVER),
    ]
