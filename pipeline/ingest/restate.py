"""From what an export says to the same said in the plain layout, by its profile; nothing is judged here.

What cannot be read stays a text that no rule of `normalise` accepts, so that it is never taken for empty.
"""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.contradictions import require_no_contradiction
from pipeline.ingest.profiles import CLOCK, COMMON_COLUMNS, DAY, LASTS, Profile, column_of
from pipeline.ingest.quantities import converted, minutes_of, plain_number
from pipeline.ingest.read_files import Export
from pipeline.ingest.time_formats import ISO, read_times
from pipeline.records import DATE, INSTANT, Column, Table

#: Says something, and nothing that can be read.
UNREADABLE = "(unreadable)"
#: What a spreadsheet shows where a formula failed; in place of a name it says nothing.
ERRORS = (
    "#REF!",
    "#DIV/0!",
    "#N/A",
    "#NAME?",
    "#NULL!",
    "#NUM!",
    "#VALUE!",
    "#SPILL!",
    "#CALC!",
    "#NO VALUE!",
)
#: How a workbook's cells of a time of day, and of a day, come as text.
_EPOCH_DAY = r"^(?:1899-12-3[01]|1904-01-01)[T ]"
_MIDNIGHT = r"[T ]00:00(?::00)?(?:\.0+)?$"


def restate(rows: pl.DataFrame, export: Export, table: Table) -> pl.DataFrame:
    """Return a block's rows (declared fields as text, ``source_row``) in the plain layout's columns.

    Raises RefusedFile where the values contradict what the profile declares.
    """
    if export.profile.table is None:
        return rows
    said = rows.with_columns(_cleaned(rows, export.profile))
    require_no_contradiction(said, export, table)
    return _in_plain_layout(said, export, table)


def restate_mended(rows: pl.DataFrame, export: Export, table: Table) -> pl.DataFrame:
    """Do what `restate` does for rows typed by hand, which prove nothing about the profile.

    A time may be written as the file does, or as ISO 8601, which is also how a spreadsheet's own times come.
    """
    profile = export.profile
    if profile.table is None:
        return rows
    by_hand = replace(
        profile, time_formats=(*profile.time_formats, ISO), date_formats=(*profile.date_formats, ISO)
    )
    cleaned = rows.with_columns(_cleaned(rows, profile))
    return _in_plain_layout(cleaned, replace(export, profile=by_hand), table)


def _in_plain_layout(said: pl.DataFrame, export: Export, table: Table) -> pl.DataFrame:
    profile = export.profile
    made: dict[str, pl.Series] = {}
    for name in (*table.names, *COMMON_COLUMNS):
        restated = _restated(said, column_of(table, name), export)
        if restated is not None:
            made[name] = restated.alias(name)
    for name, duration in profile.durations.items():
        if name + LASTS in said.columns:
            lasted = said[name + LASTS]
            is_clock = ":" in duration.unit
            made[name + LASTS] = lasted if is_clock else _or_unreadable(plain_number(lasted, profile), lasted)
    return pl.DataFrame([*made.values(), said[SOURCE_ROW]])


def _cleaned(rows: pl.DataFrame, profile: Profile) -> list[pl.Expr]:
    """Return the fields trimmed, empty where they hold nothing or what the profile declares as nothing."""
    nothing = ["", *(text.strip() for text in profile.empty)]
    texts = [pl.col(name).str.strip_chars() for name in rows.columns if name != SOURCE_ROW]
    return [pl.when(~text.is_in(nothing)).then(text).name.keep() for text in texts]


def _restated(said: pl.DataFrame, column: Column, export: Export) -> pl.Series | None:
    profile, name = export.profile, column.name
    if name in profile.constants:
        return _repeated(profile.constants[name], said)
    if name == "exported_at" and export.exported_at is not None:
        return _exported_at(_repeated(export.exported_at, said), column, profile)
    if name + DAY in said.columns:
        return _times(_joined(said[name + DAY], said[name + CLOCK]), column, profile)
    if name not in said.columns:
        return None
    texts = said[name]
    if column.kind in (INSTANT, DATE):
        return _times(texts, column, profile)
    if column.kind in ("number", "whole"):
        return _or_unreadable(_number(texts, column, profile), texts)
    if codes := profile.codes.get(name):
        coded = texts.str.to_lowercase().replace_strict(codes, default=None, return_dtype=pl.String)
        texts = coded.fill_null(texts)
    return _name(texts, column, profile) if column.kind in ("id", "text", "patient") else texts


def _exported_at(texts: pl.Series, column: Column, profile: Profile) -> pl.Series:
    """Return the export's own time, which of a file in the ledger is ISO 8601 already."""
    return read_times(texts, [ISO], with_clock=True).fill_null(_times(texts, column, profile))


def _repeated(text: str, rows: pl.DataFrame) -> pl.Series:
    return pl.repeat(text, rows.height, dtype=pl.String, eager=True)


def _number(texts: pl.Series, column: Column, profile: Profile) -> pl.Series:
    plain = plain_number(texts, profile)
    if unit := profile.units.get(column.name):
        return converted(plain, unit)
    # A typed file may have no whole numbers of its own: 7 comes as 7.0.
    return plain.str.replace(r"\.0+$", "") if column.kind == "whole" and profile.is_typed else plain


def _name(texts: pl.Series, column: Column, profile: Profile) -> pl.Series:
    """Return identifiers and references as the profile has them normalised; a failed formula is no name."""
    texts = texts.set(texts.is_in(list(ERRORS)).fill_null(False), None)
    for rule in profile.references.get(column.name, ()):
        if rule == "remove_spaces":
            texts = texts.str.replace_all(r"[\s\u00a0\u202f]", "")
        elif rule == "remove_dashes":
            texts = texts.str.replace_all("-", "", literal=True)
        else:
            texts = texts.str.replace(r"^0+(.)", "$1")
    return texts


def _joined(day: pl.Series, clock: pl.Series) -> pl.Series:
    """Return day and time of day as one text; both must be said, for a day alone is no instant."""
    whole_day = pl.col("day").str.replace(_MIDNIGHT, "")
    both = whole_day + " " + pl.col("clock").str.replace(_EPOCH_DAY, "")
    half = pl.when(pl.col("day").is_null() != pl.col("clock").is_null()).then(pl.lit(UNREADABLE))
    parts = pl.DataFrame({"day": day, "clock": clock})
    return parts.select(pl.coalesce(both, half).alias("joined"))["joined"]


def _times(texts: pl.Series, column: Column, profile: Profile) -> pl.Series:
    """Return times as ISO 8601. A typed file's own come so by themselves, and so do a logbook's days."""
    is_instant = column.kind == INSTANT
    formats = profile.time_formats if is_instant else profile.date_formats
    of_logbook = profile.wide is not None and column.name == profile.wide.day
    if of_logbook:
        texts = texts.str.replace(r" ([0-9]:)", " 0$1")
    if (profile.is_typed or of_logbook) and ISO not in formats:
        formats = (*formats, ISO)
    if profile.is_typed and not is_instant:
        texts = texts.str.replace(_MIDNIGHT, "")
    if (
        profile.format == "xlsx" and is_instant
    ):  # a time of day alone comes as one of the day that days begin with
        texts = texts.str.replace(_EPOCH_DAY, UNREADABLE)
    return _or_unreadable(read_times(texts, formats, with_clock=is_instant), texts)


def _or_unreadable(read: pl.Series, texts: pl.Series) -> pl.Series:
    return read.set(read.is_null() & texts.is_not_null(), UNREADABLE)


def with_ends(rows: pl.DataFrame, profile: Profile, table: Table, zone: str) -> pl.DataFrame:
    """Return restated rows with the ends that their durations lead to, as ISO 8601 in UTC.

    A duration is time that went by: across a change of the clock in ``zone`` it is not what the wall shows.
    """
    for name, duration in profile.durations.items():
        if name + LASTS in rows.columns and table.time in rows.columns:
            end = _end(rows[table.time], rows[name + LASTS], duration.unit, zone)
            rows = rows.with_columns(end.alias(name)).drop(name + LASTS)
    return rows


def _end(started: pl.Series, lasted: pl.Series, unit: str, zone: str) -> pl.Series:
    start = pl.col("start")
    clock = start.str.extract(r"^(.{10}[T ][0-9:]{5,8})").str.replace(" ", "T", literal=True)
    wall = clock.str.replace(r"^(.{16})$", "${1}:00")
    wall = wall.str.to_datetime("%Y-%m-%dT%H:%M:%S", strict=False, time_unit="us")
    local = wall.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
    offset = start.str.extract(r"[0-9](Z|[+-][0-9]{2}:?[0-9]{2})$").str.replace("Z", "+00:00", literal=True)
    stated = (
        wall.dt.strftime("%Y-%m-%dT%H:%M:%S") + offset.str.replace(":", "", literal=True)
    ).str.to_datetime("%Y-%m-%dT%H:%M:%S%z", strict=False, time_unit="us")
    instant = pl.coalesce(stated.dt.convert_time_zone("UTC"), local.dt.convert_time_zone("UTC"))
    seconds = (pl.col("minutes") * 60).round().cast(pl.Int64)
    end = (instant + pl.duration(seconds=seconds, time_unit="us")).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    frame = pl.DataFrame({"start": started, "minutes": minutes_of(lasted, unit)})
    return _or_unreadable(frame.select(end.alias("end"))["end"], lasted)
