"""A file that shows its profile to be wrong is refused whole: the rows that fit by chance would be misread.

One value that only fits with day and month, or decimal and thousands, in each other's place is enough: the
ambiguous values beside it would be taken the wrong way round, and nobody would be told.
"""

from __future__ import annotations

import re

import polars as pl

from pipeline.errors import RefusedFile
from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.profiles import CLOCK, DAY, LASTS, Profile, column_of, part_of
from pipeline.ingest.quantities import number_pattern
from pipeline.ingest.read_files import Export
from pipeline.ingest.time_formats import read_times, swapped
from pipeline.records import DATE, INSTANT, Column, Table


def require_no_contradiction(said: pl.DataFrame, export: Export, table: Table) -> None:
    """Raise RefusedFile with the row and column of a value that contradicts the profile; ``said`` is trimmed."""
    for name in said.columns:
        if name == SOURCE_ROW or name.endswith((CLOCK, LASTS)):
            continue
        column = column_of(table, part_of(name))
        if column.kind in (INSTANT, DATE):
            _require_order(said, name, column, export)
        elif column.kind in ("number", "whole"):
            _require_marks(said, name, export)


def _require_order(said: pl.DataFrame, name: str, column: Column, export: Export) -> None:
    """Day and month: 13 in the place of the month."""
    profile = export.profile
    formats = _formats(profile, name, column)
    others = [other for stated in formats if (other := swapped(stated)) and other not in formats]
    if not others:
        return
    with_clock = column.kind == INSTANT and not name.endswith(DAY)
    unread = said.filter(read_times(said[name], formats, with_clock).is_null() & said[name].is_not_null())
    other_way = read_times(unread[name], others, with_clock).is_not_null()
    reason = f"day and month the other way round than declared ({', '.join(formats)})"
    _refuse_first(unread.filter(other_way), name, export, reason)


def _formats(profile: Profile, name: str, column: Column) -> list[str]:
    if name.endswith(DAY):
        return [_day_part(stated) for stated in profile.time_formats]
    return list(profile.time_formats if column.kind == INSTANT else profile.date_formats)


def _require_marks(said: pl.DataFrame, name: str, export: Export) -> None:
    """Decimal and thousands: 1.299,5 where the point is declared to be the decimal mark."""
    profile = export.profile
    if profile.is_typed or profile.thousands not in (".", ","):
        return
    declared = number_pattern(profile.decimal, profile.thousands)
    other_way = number_pattern(profile.thousands, profile.decimal)
    text = pl.col(name)
    misfit = ~text.str.contains(declared) & text.str.contains(other_way)
    reason = f"'{profile.thousands}' as the decimal mark, and '{profile.decimal}' is declared"
    _refuse_first(said.filter(misfit), name, export, reason)


def _refuse_first(rows: pl.DataFrame, name: str, export: Export, reason: str) -> None:
    if rows.height:
        place = f"row {rows[SOURCE_ROW][0]}, column '{export.header.names.get(name, part_of(name))}'"
        raise RefusedFile(
            f"{place}: the value can only be read with {reason}; correct the profile '{export.profile.name}'"
        )


def _day_part(stated: str) -> str:
    """Return the part of a format that gives the day.

    >>> _day_part("%d/%m/%Y %H:%M")
    '%d/%m/%Y'
    """
    return re.split(r"[T ]?%[HIMSpz]", stated)[0].strip()
