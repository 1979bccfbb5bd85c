"""The stored rows that have to be settled, brought into DuckDB with their identifiers spelled alike."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import duckdb

from pipeline.records import TABLES
from pipeline.store import row_queries
from pipeline.store.contested import Stretch, Window, contested, instant, stored_file, windows
from pipeline.store.layout import Store
from pipeline.store.ledger import LOGS, LedgerEntry
from pipeline.store.spelling import spell_alike


def gather(connection: duckdb.DuckDBPyConnection, store: Store, known: list[LedgerEntry]) -> None:
    """Make schema ``settling``: each table's rows (of the large logs, the contested ones), and spellings."""
    connection.execute("create schema if not exists settling")
    by_table = {name: [entry for entry in known if entry.table == name] for name in TABLES}
    note_windows(connection, {name: windows(entries) for name, entries in by_table.items()})
    stretches = {name: contested(store, by_table[name]) for name in LOGS}
    note_stretches(connection, [item for name in LOGS for item in stretches[name].items()])
    for name, table in TABLES.items():
        files = list(stretches[name]) if name in LOGS else stored_files(store, by_table[name])
        rows = row_queries.stored_rows(table, files)
        if name in LOGS:
            rows = row_queries.contested_rows(table, rows)
        replacing = any(entry.replaces_window for entry in by_table[name])
        rows = row_queries.with_windows(table, rows) if replacing else row_queries.without_windows(rows)
        connection.execute(f"create or replace table settling.{name} as {rows}")
    spell_alike(connection, known)


def stored_files(store: Store, entries: list[LedgerEntry]) -> list[Path]:
    """Return the files of good rows that the entries name."""
    return [stored_file(store, part) for entry in entries for part in entry.parts]


def files_to_join(
    connection: duckdb.DuckDBPyConnection, store: Store, entries: list[LedgerEntry]
) -> tuple[list[Path], list[Path]]:
    """Return a log's files that stand as they are, and those with rows to settle or ids to spell alike."""
    disputed = contested(store, entries)
    misspelled = set(
        connection.execute(
            "select site_id, written from settling.spellings where kind = 'unit_id'"
        ).fetchall()
    )
    plain: list[Path] = []
    mixed: list[Path] = []
    for entry in entries:
        for part in entry.parts:
            path = stored_file(store, part)
            touched = path in disputed or any((part.site_id, unit) in misspelled for unit in part.units)
            (mixed if touched else plain).append(path)
    return plain, mixed


def note_windows(connection: duckdb.DuckDBPyConnection, by_table: dict[str, list[Window]]) -> None:
    """Make settling.windows: what each export replaces."""
    connection.execute(
        "create or replace table settling.windows (table_name varchar, site_id varchar, sha256 varchar, "
        "exported_at timestamp, first_at timestamp, last_at timestamp)"
    )
    rows = [
        (
            name,
            window.site_id,
            window.sha256,
            window.exported_at,
            instant(window.first_at),
            instant(window.last_at),
        )
        for name, found in by_table.items()
        for window in found
    ]
    _insert(
        connection, "windows", ("varchar", "varchar", "varchar", "timestamp", "timestamp", "timestamp"), rows
    )


def note_stretches(
    connection: duckdb.DuckDBPyConnection, contested_files: list[tuple[Path, list[Stretch]]]
) -> None:
    """Make settling.stretches: path, first_at, last_at (inclusive) of what is contested in a file."""
    connection.execute(
        "create or replace table settling.stretches (path varchar, first_at timestamp, last_at timestamp)"
    )
    rows = [
        (str(path), instant(first), instant(last))
        for path, stretches in contested_files
        for first, last in stretches
    ]
    _insert(connection, "stretches", ("varchar", "timestamp", "timestamp"), rows)


def _insert(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    types: tuple[str, ...],
    rows: Sequence[tuple[object, ...]],
) -> None:
    """Insert rows in one statement: one for each would take longer than all the rest."""
    if rows:
        columns = ", ".join(f"unnest(${place}::{kind}[])" for place, kind in enumerate(types, start=1))
        connection.execute(
            f"insert into settling.{table} select {columns}",
            [list(column) for column in zip(*rows, strict=True)],
        )
