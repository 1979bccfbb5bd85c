"""Quarantined rows as a workbook in which people mend them, and that workbook read back."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import NothingToDo, RefusedFile, UsageError
from pipeline.ingest.advice import ADVICE
from pipeline.ingest.profiles import Profile, part_of, profile_of
from pipeline.ingest.read_files import read_content
from pipeline.ingest.row_rules import MEANINGS
from pipeline.ingest.untrusted import read_sheet, sheet_names
from pipeline.ingest.workbooks import SheetOfText, workbook_bytes
from pipeline.records import TABLES, Table
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry, entries
from pipeline.store.parquet import write_bytes

_FILE, _ROW, _WRONG, _ID, _NUMBER = "File", "Row", "What is wrong", "File id", "Row id"
_GUIDE = "How to mend"
_WIDTH, _WIDE = 20, 60
#: A sheet's name is at most 31 letters long.
_NAME = 25
_WORDS = (
    "Each sheet holds the rows of one table that were not accepted, as their file has them.",
    "Change the cells that are wrong, in the way in which the file writes them. Rows left as they are stay out.",
    "A patient's reference stands as its key; leave it to keep the reference, or type another over it.",
    "Of a row that was torn apart nothing was kept: fill in all of its cells.",
    f"Leave the columns '{_FILE}', '{_ROW}' and those that are hidden at the end as they are.",
    "Save the workbook, and take the mended rows in with: dewledger quarantine retry --store STORE WORKBOOK",
)


@dataclass(frozen=True)
class Mended:
    """One row as it came back: its file and number, and the text of each of its fields."""

    sha256: str
    source_row: int
    fields: dict[str, str | None]


def kept_profile(store: Store, entry: LedgerEntry) -> Profile:
    """Return the profile that a file was read by."""
    path = store.profile_file(entry.profile_sha256)
    if not path.exists():
        raise UsageError(
            f"{entry.name}: the profile it was read by is not in the store; ingest the file again."
        )
    return profile_of(path.read_bytes(), str(path))


def fields_of(table: Table, profile: Profile) -> dict[str, str]:
    """Return every field of a table's rows, with the name that the export has for it."""
    found = profile.fields(table)
    if profile.wide:
        found |= {name: name for name in profile.wide.fields}
    return found


def write_sheets(rows: pl.DataFrame, store: Store, known: list[LedgerEntry], to: Path) -> None:
    """Write quarantined rows (`quarantine.listing`) as a workbook with a sheet for each table and profile."""
    sheets = {_GUIDE: SheetOfText({"": 110}, [(words,) for words in _WORDS])}
    by_hash = {entry.sha256: entry for entry in known}
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in rows.iter_rows(named=True):
        groups.setdefault((row["table"], by_hash[row["sha256"]].profile_sha256), []).append(row)
    for number, ((table, _), group) in enumerate(groups.items(), 1):
        profile = kept_profile(store, by_hash[group[0]["sha256"]])
        sheets[f"{number} {table}"[:_NAME]] = _sheet(group, fields_of(TABLES[table], profile))
    write_bytes(to, workbook_bytes(sheets))


def row_in_words(store: Store, rows: pl.DataFrame, number: int) -> dict[str, Any]:
    """Return one row of a listing: where it stands, what is wrong in words, and its fields by the file's names."""
    found = rows.filter(pl.col("source_row") == number).to_dicts()
    if not found:
        raise NothingToDo(f"Row {number} of that file is not in quarantine.")
    row, raw = found[0], json.loads(found[0]["raw"])
    entry = next(entry for entry in entries(store) if entry.sha256 == row["sha256"])
    fields = fields_of(TABLES[row["table"]], kept_profile(store, entry))
    return {
        **{name: row[name] for name in ("file_name", "sha256", "sheet", "source_row", "table", "reasons")},
        "wrong": [_wrong(fault, fields) for fault in row["faults"].split(",")],
        "fields": {fields.get(name, name): said for name, said in raw.items()},
    }


def _sheet(rows: list[dict[str, Any]], fields: dict[str, str]) -> SheetOfText:
    columns = {_FILE: _WIDTH, _ROW: 8, _WRONG: _WIDE}
    # Two fields may have one name in the file, such as a day that two instants share.
    named = {
        name: their if list(fields.values()).count(their) == 1 else name for name, their in fields.items()
    }
    columns |= {_field_head(their, name): _WIDTH for name, their in named.items()}
    columns |= {_ID: _WIDTH, _NUMBER: _WIDTH}
    return SheetOfText(columns, list(_cells(rows, fields)), frozenset({_ID, _NUMBER}))


def _field_head(their: str, name: str) -> str:
    """Return a column's head, by which the field is found again whatever the export calls it."""
    return their if their == name else f"{their} [{name}]"


def _cells(rows: list[dict[str, Any]], fields: dict[str, str]) -> Iterator[list[str | int | None]]:
    for row in rows:
        raw = json.loads(row["raw"])
        said = [raw.get(name) for name in fields]
        wrong = "; ".join(_wrong(fault, fields) for fault in row["faults"].split(","))
        texts = [text if isinstance(text, str) else None for text in said]
        yield [row["file_name"], str(row["source_row"]), wrong, *texts, row["sha256"], str(row["source_row"])]


def _wrong(fault: str, fields: dict[str, str]) -> str:
    rule, _, column = fault.partition(":")
    names = [their for name, their in fields.items() if part_of(name) == column]
    place = f"{' + '.join(names) or column}: " if column else ""
    return f"{place}{MEANINGS[rule]}: {ADVICE[rule]}"


def read_sheets(path: Path) -> list[Mended]:
    """Return every row of a workbook that `write_sheets` made; raise UsageError for any other file."""
    try:
        content = read_content(path)
        names = [name for name in sheet_names(content) if name != _GUIDE]
        sheets = [(name, read_sheet(content, name).cells) for name in names]
    except RefusedFile as refusal:
        raise UsageError(f"{path}: {refusal}.") from refusal
    rows = [row for name, cells in sheets for row in _mended(path, name, cells)]
    if twice := [
        place for place, count in Counter((row.sha256, row.source_row) for row in rows).items() if count > 1
    ]:
        numbers = ", ".join(sorted({str(number) for _, number in twice}))
        raise UsageError(f"{path}: rows stand in it twice (row {numbers} of their file); leave one of each.")
    return rows


def _mended(path: Path, sheet: str, cells: pl.DataFrame) -> Iterator[Mended]:
    heads = [(head or "").strip() for head in cells.row(0)] if cells.height else []
    missing = {_ID, _NUMBER} - set(heads)
    if missing:
        raise UsageError(
            f"{path}, sheet '{sheet}': the columns {', '.join(sorted(missing))} are missing; mend the workbook "
            "that 'dewledger quarantine export' wrote."
        )
    places = {
        head.rpartition("[")[2].rstrip("]") if head.endswith("]") else head: n for n, head in enumerate(heads)
    }
    known = {name: place for name, place in places.items() if name not in (_FILE, _ROW, _WRONG, _ID, _NUMBER)}
    for row in cells.slice(1).iter_rows():
        sha256, number = row[places[_ID]], row[places[_NUMBER]]
        if sha256 and number and str(number).isdecimal():
            yield Mended(sha256, int(number), {name: row[place] for name, place in known.items() if name})
