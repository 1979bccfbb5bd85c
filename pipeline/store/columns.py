"""How the canonical columns stand in stored Parquet and in DuckDB."""

from __future__ import annotations

import polars as pl

from pipeline.records import DATE, INSTANT, Column, Table, stored_name

_FRAME_TYPES: dict[str, pl.DataType] = {
    INSTANT: pl.Datetime("us"),
    DATE: pl.Date(),
    "number": pl.Float64(),
    "whole": pl.Int64(),
    "flag": pl.Boolean(),
}
_SQL_TYPES = {INSTANT: "timestamp", DATE: "date", "number": "double", "whole": "bigint", "flag": "boolean"}

#: The columns of a quarantined row; ``faults`` name each reason with its column (``bad_time:started_at``),
#: ``sealed`` holds the row's patient references, encrypted.
QUARANTINE = pl.Schema(
    {
        "table": pl.String(),
        "file_name": pl.String(),
        "sha256": pl.String(),
        "sheet": pl.String(),
        "source_row": pl.Int64(),
        "reasons": pl.String(),
        "faults": pl.String(),
        "raw": pl.String(),
        "sealed": pl.Binary(),
    }
)


def good_schema(table: Table) -> pl.Schema:
    """Return the columns of a table's stored rows; instants are UTC without a zone, in whole seconds."""
    return pl.Schema(
        {
            "site_id": pl.String(),
            **{stored_name(column): _FRAME_TYPES.get(column.kind, pl.String()) for column in table.columns},
            "exported_at": pl.Datetime("us"),
            "source_row": pl.Int64(),
            "warnings": pl.String(),
        }
    )


def sql_type(column: Column) -> str:
    """Return a column's type in DuckDB.

    >>> sql_type(Column("ward", "id")), sql_type(Column("cycle_count", "whole"))
    ('varchar', 'bigint')
    """
    return _SQL_TYPES.get(column.kind, "varchar")


def stored_key(table: Table) -> tuple[str, ...]:
    """Return the names under which a table's key is stored."""
    return tuple(stored_name(table.column(name)) for name in table.key)
