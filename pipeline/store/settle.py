"""The rows that stand: duplicates and corrections settled by key, whatever the order of ingestion."""

from __future__ import annotations

import duckdb
import polars as pl

from pipeline.records import TABLES
from pipeline.store.gather import files_to_join, gather
from pipeline.store.layout import Store
from pipeline.store.ledger import LOGS, entries
from pipeline.store.row_queries import changed_values, log_view, settled_rows

#: What `changes` lists; ``column`` is ``*`` for a row that a later export of the same window left out.
CHANGES = pl.Schema(
    {
        "table": pl.String(),
        "site_id": pl.String(),
        "key": pl.String(),
        "column": pl.String(),
        "old": pl.String(),
        "new": pl.String(),
        "file": pl.String(),
        "source_row": pl.Int64(),
    }
)


def settle(connection: duckdb.DuckDBPyConnection, store: Store) -> None:
    """Make schema ``settled``: each canonical table with site_id, stored columns, file_sha256 and source_row.

    The large logs are views over the stored files, all others tables; a table without rows has its columns.
    """
    known = entries(store)
    gather(connection, store, known)
    connection.execute("create schema if not exists settled")
    for name, table in TABLES.items():
        target = f"settling.{name}_settled" if name in LOGS else f"settled.{name}"
        connection.execute(f"create or replace table {target} as {settled_rows(table)}")
        if name in LOGS:
            plain, mixed = files_to_join(connection, store, [entry for entry in known if entry.table == name])
            connection.execute(f"create or replace view settled.{name} as {log_view(table, plain, mixed)}")
        connection.execute(f"drop table settling.{name}")


def changes(connection: duckdb.DuckDBPyConnection, store: Store) -> pl.DataFrame:
    """Return every value that a later row corrected, in the columns of `CHANGES`."""
    known = entries(store)
    gather(connection, store, known)
    found = []
    for name, table in TABLES.items():
        found.append(pl.DataFrame(connection.sql(changed_values(table))))
        connection.execute(f"drop table settling.{name}")
    names = pl.DataFrame(
        [(entry.sha256, entry.name) for entry in known],
        schema={"file_sha256": pl.String, "file": pl.String},
        orient="row",
    )
    listed = pl.concat(found, how="vertical_relaxed").join(names, on="file_sha256", how="left")
    order = ["table", "site_id", "key", "file_sha256", "source_row", "column"]
    return listed.sort(order).select(CHANGES.names()).cast(CHANGES)
