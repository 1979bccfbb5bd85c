"""What changed between two editions of a month, value by value, and why."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import polars as pl

from pipeline.editions.input_changes import InputChange
from pipeline.editions.month_rows import NUMBERING, key_of
from pipeline.measures.in_memory import inputs_behind
from pipeline.measures.sql_files import load_models
from pipeline.records import TABLES

#: One row per value that changed. Of a row that is new or gone ``column`` is `WHOLE_ROW`, and what is there `THERE`.
CHANGES = pl.Schema(dict.fromkeys(("table", "site_id", "key", "column", "old", "new", "why"), pl.String()))
WHOLE_ROW, THERE = "*", "there"
_SHOWN_REASONS = 3
_COPY = "copy"


def changed_values(
    earlier: dict[str, pl.DataFrame],
    later: dict[str, pl.DataFrame],
    inputs: list[InputChange],
    otherwise: str,
) -> pl.DataFrame:
    """Return every value in which two editions' tables differ, in order (`CHANGES`).

    ``inputs`` are what came into the store between them; ``otherwise`` is the reason for what they leave open.
    """
    models = {model.name: model for model in load_models()}
    found = []
    for table in sorted(earlier.keys() | later.keys()):
        rests_on = inputs_behind(models[table].table) if table in models else TABLES.keys()
        reasons = [change for change in inputs if change.table in rests_on]
        for row in _differences(earlier.get(table), later.get(table)):
            why = _why(row["site_id"], row.pop("unit_id"), reasons) or otherwise
            found.append({"table": table, **row, "why": why})
    return pl.DataFrame(found, schema=CHANGES).sort("table", "site_id", "key", "column")


def _differences(earlier: pl.DataFrame | None, later: pl.DataFrame | None) -> Iterator[dict[str, Any]]:
    """Yield the values in which two frames differ, for each row by its key."""
    columns = (earlier if later is None else later).columns  # type: ignore[union-attr]
    key = key_of(columns)
    old, new = (_by_key(rows, key) for rows in (earlier, later))
    for at in sorted(old.keys() | new.keys()):
        place = {"site_id": at[0], "key": ", ".join(_named(key, at)), "unit_id": _unit(key, at)}
        if at not in old or at not in new:
            yield {
                **place,
                "column": WHOLE_ROW,
                "old": THERE if at in old else None,
                "new": THERE if at in new else None,
            }
            continue
        for name in columns:
            if name not in key and name not in NUMBERING and old[at].get(name) != new[at].get(name):
                yield {**place, "column": name, "old": old[at].get(name), "new": new[at].get(name)}


def _by_key(rows: pl.DataFrame | None, key: list[str]) -> dict[tuple[str, ...], dict[str, str | None]]:
    """Return the rows as text by their key; of rows with one key, each has its number."""
    if rows is None:
        return {}
    text = rows.select(_text(name, kind) for name, kind in rows.schema.items()).sort(rows.columns)
    numbered = text.with_columns(pl.int_range(pl.len()).over(key).cast(pl.String).alias(_COPY))
    return {tuple(row[name] or "" for name in (*key, _COPY)): row for row in numbered.iter_rows(named=True)}


def _text(name: str, kind: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if isinstance(kind, pl.Datetime):
        return column.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    return column.cast(pl.String)


def _named(key: list[str], at: tuple[str, ...]) -> list[str]:
    return [f"{name}={value}" for name, value in zip(key, at, strict=False) if name != "site_id"]


def _unit(key: list[str], at: tuple[str, ...]) -> str:
    return at[key.index("unit_id")] if "unit_id" in key else ""


def _why(site_id: str, unit_id: str, reasons: list[InputChange]) -> str:
    """Return the changes that a row may follow from: those of its unit, else of its site."""
    of_site = [change for change in reasons if change.site_id == site_id]
    of_unit = [change for change in of_site if unit_id and change.unit_id in (unit_id, "")]
    told = sorted({f"{change.table} {change.words}" for change in of_unit or of_site})
    more = f"; and {len(told) - _SHOWN_REASONS} more" if len(told) > _SHOWN_REASONS else ""
    return "; ".join(told[:_SHOWN_REASONS]) + more
