"""Published tables as files for other programs (contract section 9)."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.ingest.quarantine import listing
from pipeline.measures.derived import DERIVED_TABLES
from pipeline.measures.published import Published, published_models
from pipeline.store.layout import Store
from pipeline.store.parquet import parquet_bytes, write_bytes

FORMATS = ("csv", "parquet")
_QUARANTINE = "quarantine"
_SECTIONS = ("4", "5")


def exported_tables() -> list[str]:
    """Return the names of the derived tables and measures, in order."""
    models = [model.name for model in published_models() if model.text("section").split(".")[0] in _SECTIONS]
    return sorted([*models, *DERIVED_TABLES])


def export(store: Store, published: Published, to: Path, file_format: str) -> list[Path]:
    """Write every table that has rows into a folder; return the files.

    A file of an earlier export whose table has no rows any more is removed, so that none outlives its rows.
    """
    written = []
    for name in [*exported_tables(), _QUARANTINE]:
        rows = listing(store) if name == _QUARANTINE else published.read(name)
        path = to / f"{name}.{file_format}"
        if rows.height:
            write_bytes(path, csv_bytes(rows) if file_format == "csv" else parquet_bytes(rows))
            written.append(path)
        else:
            path.unlink(missing_ok=True)
    return written


def csv_bytes(rows: pl.DataFrame) -> bytes:
    """Return a frame as CSV: instants in UTC with Z, true and false, empty for null, floats in full."""
    text: str = rows.write_csv(None, datetime_format="%Y-%m-%dT%H:%M:%SZ", date_format="%Y-%m-%d")
    return text.encode()
