"""Published tables as files for other programs (contract section 9)."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.ingest.packages.schemas import PACKAGE, package_bytes, resource
from pipeline.ingest.quarantine import listing
from pipeline.measures.derived import DERIVED_TABLES
from pipeline.measures.published import Published, published_models
from pipeline.store.layout import Store
from pipeline.store.parquet import parquet_bytes, write_bytes

FORMATS = ("csv", "parquet")
#: Tables of a plan, those that the plan is read by first, then in the order of the alphabet.
PLANNING_TABLES = (
    "projection", "projection_backtest", "stock_plan", "fleet_plan", "activity_projection", "compliance_cost",
    "early_changes", "order_budget", "part_waste", "plan_comparison", "plan_findings", "plan_notes",
    "projection_practised", "stock_line", "turnaround_gain", "water_practice",
)  # fmt: skip
_QUARANTINE = "quarantine"
_SECTIONS = ("4", "5")
#: The types of a Table Schema by those of columns; every other column is text.
_TYPES = {pl.Boolean: "boolean", pl.Datetime: "datetime", pl.Date: "date"}


def exported_tables() -> list[str]:
    """Return the names of the derived tables and measures, in order."""
    models = [model.name for model in published_models() if model.text("section").split(".")[0] in _SECTIONS]
    return sorted([*models, *DERIVED_TABLES])


def export(
    store: Store, published: Published, plan: Mapping[str, pl.DataFrame], to: Path, file_format: str
) -> list[Path]:
    """Write every table that has rows into a folder, and a data package that describes them; return the tables.

    ``plan`` are the planning tables that stand. A file of an earlier export whose table has no rows any more is
    removed, so that none outlives its rows.
    """
    written, described = [], []
    titles = {model.name: model.text("title") for model in published_models()}
    for name in [*exported_tables(), *PLANNING_TABLES, _QUARANTINE]:
        rows = _rows(store, published, plan, name)
        path = to / f"{name}.{file_format}"
        if rows.height:
            write_bytes(path, csv_bytes(rows) if file_format == "csv" else parquet_bytes(rows))
            written.append(path)
            described.append(resource(path.name, _schema(rows), titles.get(name, "")))
        else:
            path.unlink(missing_ok=True)
    title = f"Tables computed by Dewledger as of {published.as_of.isoformat()}Z"
    write_bytes(to / PACKAGE, package_bytes(described, name="dewledger-tables", title=title))
    return written


def _rows(store: Store, published: Published, plan: Mapping[str, pl.DataFrame], name: str) -> pl.DataFrame:
    if name == _QUARANTINE:
        return listing(store)
    return plan.get(name, pl.DataFrame()) if name in PLANNING_TABLES else published.read(name)


def _schema(rows: pl.DataFrame) -> dict[str, Any]:
    """Return the schema of a table as it is written: its columns, each of its own type."""
    return {
        "fields": [{"name": name, "type": _type(kind)} for name, kind in rows.schema.items()],
        "missingValues": [""],
    }


def _type(kind: pl.DataType) -> str:
    if kind.is_integer():
        return "integer"
    return "number" if kind.is_numeric() else _TYPES.get(kind.base_type(), "string")


def csv_bytes(rows: pl.DataFrame) -> bytes:
    """Return a frame as CSV: instants in UTC with Z, true and false, empty for null, floats in full."""
    text: str = rows.write_csv(None, datetime_format="%Y-%m-%dT%H:%M:%SZ", date_format="%Y-%m-%d")
    return text.encode()
