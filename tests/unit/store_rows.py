"""What the tests of the store share: small stores in the invented Tarnholt hospitals."""

import datetime
from pathlib import Path

import duckdb
import polars as pl

from pipeline.records import TABLES
from pipeline.store.columns import QUARANTINE, good_schema
from pipeline.store.layout import Store, open_store
from pipeline.store.ledger import LedgerEntry, commit
from pipeline.store.settle import settle

NOTHING_QUARANTINED = pl.DataFrame(schema=QUARANTINE)


def new_store(folder: Path) -> Store:
    return open_store(folder / "store", create=True)


def at(text: str) -> datetime.datetime:
    """A UTC instant without a zone, from '2026-03-01 08:00'."""
    return datetime.datetime.fromisoformat(text)


def frame(table: str, rows: list[dict], exported_at: str | None = None) -> pl.DataFrame:
    """Rows as ingest hands them over; row numbers count from 2, below the header."""
    shared = {"site_id": "TARN", "exported_at": at(exported_at) if exported_at else None}
    numbered = [{**shared, "source_row": number, **row} for number, row in enumerate(rows, start=2)]
    return pl.DataFrame(numbered, schema=good_schema(TABLES[table]))


def entry(sha256: str, table: str, rows: int, **stated) -> LedgerEntry:
    counts = {"rows_read": rows, "accepted": rows}
    return LedgerEntry(
        sha256=sha256, name=f"{sha256[:2]}.csv", table=table, profile="plain", **{**counts, **stated}
    )


def put(
    store: Store,
    letter: str,
    table: str,
    rows: list[dict],
    exported_at: str | None = None,
    replaces_window: bool = False,
) -> LedgerEntry:
    """Commit rows as a file whose hash is one letter, 64 times."""
    stated = entry(letter * 64, table, len(rows), exported_at=exported_at, replaces_window=replaces_window)
    return commit(store, stated, frame(table, rows, exported_at), NOTHING_QUARANTINED)


def settled(store: Store, table: str, *columns: str) -> list[tuple]:
    """The settled rows' columns, sorted."""
    with duckdb.connect() as connection:
        settle(connection, store)
        return sorted(
            connection.execute(f"select {', '.join(columns)} from settled.{table}").fetchall(), key=str
        )


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, by its path."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
