"""A profile drafted for one file: what is sure is written in, what is doubtful is left open with its reason."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import RefusedFile, UsageError
from pipeline.ingest.drafting.look import Look, look_at
from pipeline.ingest.drafting.matching import Marks, Match, Matched, match_columns
from pipeline.ingest.drafting.values import ENOUGH, Values, time_formats, values_of
from pipeline.ingest.drafting.words import TABLE_WORDS, folded
from pipeline.ingest.profiles import CLOCK, DAY, LASTS, column_of, nearest
from pipeline.ingest.quantities import number_pattern
from pipeline.ingest.read_files import read_content
from pipeline.records import DATE, TABLES

#: Rows that are looked at; the counts that support a format are of these.
_ROWS = 20_000
#: What speaks for a table: a required column, an optional one, a name of the file or sheet; and against it.
_REQUIRED, _OPTIONAL, _NAMED, _MISSING = 2.0, 1.0, 1.5, -1.5
_CLEAR, _COVERED = 1.0, 0.6
_EXPORTED = re.compile(
    r"(?i)^(.*?(?:export|printed|created|erstellt|stand|generated|gedruckt|extracted)\D*?)\s*(\d.*)$"
)


@dataclass(frozen=True)
class ColumnDraft:
    """What one column of the file is taken for (``ours``, with the part of it), and why; else what is open."""

    name: str
    ours: str | None = None
    part: str = ""
    reasons: tuple[str, ...] = ()
    doubt: str = ""


@dataclass(frozen=True)
class Draft:
    """A drafted profile: its settings as TOML has them, the columns with reasons and doubts, and what is open of
    the file as a whole. Without a table nothing is said of any column."""

    file: str
    table: str | None
    settings: dict[str, Any]
    columns: tuple[ColumnDraft, ...]
    reasons: tuple[str, ...] = ()
    doubts: tuple[str, ...] = field(default_factory=tuple)


def draft_profile(path: Path, table: str | None = None, sheet: str | None = None) -> Draft:
    """Draft a profile for a file; ``table`` and ``sheet`` are taken as given where they are.

    Raises RefusedFile for a file that cannot be looked into and UsageError for an unknown table or an absent file.
    """
    if not path.exists():
        raise UsageError(f"{path}: no such file; check the path.")
    if table is not None and table not in TABLES:
        raise UsageError(f"--table: '{table}' is no input table.{nearest(table, list(TABLES))}")
    try:
        look = look_at(read_content(path), sheet)
    except RefusedFile as refusal:
        raise RefusedFile(f"{path.name}: {refusal}.") from refusal
    typed = look.settings.get("format") in ("xlsx", "parquet")
    cells = look.cells.head(_ROWS)
    values = [values_of(cells[name], typed) for name in cells.columns]
    marks, marks_doubt = _marks(values)
    chosen, reasons, doubts = _choose(look, values, marks, table, path.name)
    settings = {
        "name": folded(path.stem).replace(" ", "_") or "export",
        "files": [_pattern(path.name)],
        **look.settings,
    }
    doubts = [*look.doubts, *([marks_doubt] if marks_doubt else []), *doubts]
    if chosen is None:
        columns = tuple(ColumnDraft(name, doubt="the table is open") for name in look.names if name)
        return Draft(path.name, None, settings, columns, (*look.reasons, *reasons), tuple(doubts))
    settings |= _settings(chosen, marks, look)
    doubts += [
        f"nothing in the file is {name}, which every row needs; name it, or a constant"
        for name in chosen.missing
    ]
    return Draft(
        path.name,
        chosen.table.name,
        settings,
        _columns(look.names, chosen),
        (*look.reasons, *reasons),
        tuple(doubts),
    )


def _pattern(name: str) -> str:
    """Return a file-name pattern in which what changes from export to export may be anything."""
    return re.sub(r"[\d\W_]*\d[\d\W_]*(?=\.|$)", "*", name, count=1) if re.search(r"\d", name) else name


def _marks(values: Sequence[Values]) -> tuple[Marks, str]:
    """Tell the marks of numbers by the columns that are numbers only by one way of writing them."""
    points = [
        column
        for column in values
        if column.count and column.share(number_pattern(".", None)) >= ENOUGH and column.share(r"\.") > 0
    ]
    commas = [
        column
        for column in values
        if column.count and column.share(number_pattern(",", None)) >= ENOUGH and column.share(",") > 0
    ]
    grouped = {
        (decimal, thousands)
        for decimal, thousands in ((",", "."), (".", ","), (",", " "))
        for column in values
        if column.count
        and column.share(number_pattern(decimal, thousands)) >= ENOUGH
        and column.share(rf"[0-9][{thousands}][0-9]{{3}}(?:[{thousands}{decimal}]|$)") > 0
        and column.share(f"[{decimal}]") > 0
    }
    if commas and not points:
        thousands = next((mark for decimal, mark in sorted(grouped) if decimal == ","), None)
        if all(column.share(r",[0-9]{3}$") == column.share(",") for column in commas):
            return (
                Marks(),
                "numbers such as 1,234 may have decimals or thousands; declare decimal and thousands",
            )
        return Marks(",", thousands), ""
    if commas and points:
        return Marks(), "some columns have decimal commas and others decimal points"
    thousands = next((mark for decimal, mark in sorted(grouped) if decimal == "."), None)
    return Marks(".", thousands), ""


def _choose(
    look: Look, values: Sequence[Values], marks: Marks, asked: str | None, file_name: str
) -> tuple[Matched | None, list[str], list[str]]:
    """Choose the table by its columns and the file's name; a close call is left open."""
    tables = [TABLES[asked]] if asked else list(TABLES.values())
    scored = sorted(
        (
            (_score(matched, file_name, look), matched)
            for matched in _all_matched(look, values, marks, tables)
        ),
        key=lambda pair: -pair[0],
    )
    best, matched = scored[0]
    if asked:
        return matched, [f"the table {asked} was given"], []
    required = [column.name for column in matched.table.columns if column.required]
    found = len(required) - len(matched.missing)
    told = [f"{found} of the {len(required)} columns that {matched.table.name} needs are there"]
    if found < _COVERED * len(required) or found < 2:
        return None, [], ["no table's columns are in it; name the table with --table if one is"]
    if len(scored) > 1 and best - scored[1][0] < _CLEAR:
        other = scored[1][1].table.name
        return None, [], [f"it may be {matched.table.name} or {other}; name the table with --table"]
    return matched, told, []


def _all_matched(look: Look, values: Sequence[Values], marks: Marks, tables: Sequence[Any]) -> list[Matched]:
    return [match_columns(look.names, values, table, marks) for table in tables]


def _score(matched: Matched, file_name: str, look: Look) -> float:
    table = matched.table
    required = {column.name for column in table.columns if column.required}
    weights = [
        (_REQUIRED if match.column in required else _OPTIONAL) * (1.0 if match in matched.sure else 0.5)
        for match in (*matched.sure, *matched.open)
        if match.part != CLOCK
    ]
    said = f"{folded(Path(file_name).stem)} {folded(look.settings.get('sheet') or '')}"
    words = [table.name.replace("_", " "), *TABLE_WORDS[table.name]]
    named = _NAMED if any(f" {word} " in f" {said} " for word in words) else 0.0
    return sum(weights) + _MISSING * len(matched.missing) + named


def _columns(names: Sequence[str], matched: Matched) -> tuple[ColumnDraft, ...]:
    sure = {match.place: match for match in matched.sure}
    still_open = {match.place: match for match in matched.open}
    drafts = []
    for place, name in enumerate(names):
        if match := sure.get(place):
            drafts.append(ColumnDraft(name, match.column, match.part, match.reasons))
        elif match := still_open.get(place):
            doubt = match.doubt or _open_because(match)
            drafts.append(ColumnDraft(name, None, "", match.reasons, f"it may be {match.column}: {doubt}"))
        elif name:
            drafts.append(ColumnDraft(name))
    return tuple(drafts)


def _open_because(match: Match) -> str:
    if match.part in (DAY, CLOCK):
        return "an instant needs both a day and a time of day"
    return "another column, or another meaning, is as likely"


def _settings(matched: Matched, marks: Marks, look: Look) -> dict[str, Any]:
    table = matched.table
    sections: dict[str, Any] = {"table": table.name}
    if marks.decimal != ".":
        sections["decimal"] = marks.decimal
    if marks.thousands:
        sections["thousands"] = marks.thousands
    sections |= _formats(matched)
    if pattern := _export_time(look.titles, sections.get("time_formats", ["iso"])):
        sections["exported_at"] = pattern
    columns: dict[str, Any] = {}
    for match in matched.sure:
        if match.part in (DAY, CLOCK):
            both = {part.part: part.name for part in matched.sure if part.column == match.column}
            columns[match.column] = [both[DAY], both[CLOCK]]
        elif match.part != LASTS and match.name != match.column:
            columns[match.column] = match.name
    sections["columns"] = columns
    sections["units"] = {
        match.column: match.unit for match in matched.sure if match.unit and match.part != LASTS
    }
    sections["durations"] = {
        match.column: {"column": match.name, "unit": match.unit}
        for match in matched.sure
        if match.part == LASTS
    }
    sections["codes"] = {match.column: dict(match.codes) for match in matched.sure if match.codes}
    return {key: value for key, value in sections.items() if value not in ({}, [])}


def _formats(matched: Matched) -> dict[str, list[str]]:
    """Return the formats of instants and of days; those of a day apart from its time are joined with the clock's."""
    instants: dict[str, None] = {}
    days: dict[str, None] = {}
    for match in matched.sure:
        is_date = column_of(matched.table, match.column).kind == DATE
        for stated in match.formats:
            if match.part == DAY:
                instants[stated if stated == "iso" else f"{stated} %H:%M"] = None
            else:
                (days if is_date else instants)[stated] = None
    found = {"time_formats": list(instants), "date_formats": list(days)}
    return {key: formats for key, formats in found.items() if formats and formats != ["iso"]}


def _export_time(titles: Sequence[str], formats: Sequence[str]) -> str | None:
    """Return a pattern for the time of export in a title row, where it is written as the table's own times."""
    for title in titles:
        match = _EXPORTED.match(title)
        if match is None:
            continue
        read = time_formats(values_of(pl.Series([match.group(2).strip()]), is_typed=False), with_clock=True)
        fits = (
            set(read.formats) <= set(formats)
            if read.formats
            else bool(read.doubt) and _reads(match.group(2), formats)
        )
        if fits:
            return f"^{re.escape(match.group(1).strip())}\\s*(.+)$"
    return None


def _reads(text: str, formats: Sequence[str]) -> bool:
    from pipeline.ingest.time_formats import read_times

    return read_times(pl.Series([text.strip()]), list(formats), with_clock=True).null_count() == 0
