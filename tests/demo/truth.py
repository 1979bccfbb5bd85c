"""What was planted in the invented hospitals, held against what the program found."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.ingest.quarantine import listing
from pipeline.measures.published import Published
from pipeline.store.layout import Store
from pipeline.store.ledger import entries

Rows = dict[str, list[dict[str, Any]]]


def read_truth(exports: Path) -> dict[str, Any]:
    """Return the truth file of a folder of invented exports."""
    truth: dict[str, Any] = json.loads((exports / "truth.json").read_text("utf-8"))
    return truth


def found(store: Store, published: Published, site: str) -> Rows:
    """Return every published row of a site as text and plain values, and the accounts of its files."""
    tables: Rows = {
        name: published.read(name)
        .filter(site_id=site)
        .with_columns(pl.selectors.datetime().dt.strftime("%Y-%m-%dT%H:%M:%SZ"))
        .to_dicts()
        for name in published.tables
    }
    own = [entry for entry in entries(store) if any(part.site_id == site for part in entry.parts)]
    hashes = {entry.sha256 for entry in own}
    tables["ingest"] = [
        {
            "file": entry.name,
            "duplicates": entry.duplicates,
            "corrected": entry.corrected,
            "warnings": entry.warnings,
        }
        for entry in own
    ]
    tables["quarantine"] = [
        {
            "file": row["file_name"],
            "row": row["source_row"],
            "source_table": row["table"],
            "reasons": row["reasons"].split(","),
        }
        for row in listing(store).to_dicts()
        if row["sha256"] in hashes
    ]
    return tables


def unmet(slips: list[dict[str, Any]], tables: Rows) -> list[str]:
    """Return each expectation of a planted slip that the results do not meet, in words."""
    indexed = {name: _index(rows) for name, rows in tables.items()}
    return [
        f"{slip['slip']} at {slip.get('unit_id')}: {expected} but {rows or 'no such row'}"
        for slip in slips
        for expected in slip["expect"]
        for rows in [_matching(indexed[expected["table"]], expected["where"])]
        if not rows or not all(_meets(row, expected["values"]) for row in rows)
    ]


def _index(rows: list[dict[str, Any]]) -> dict[Any, list[dict[str, Any]]]:
    index: dict[Any, list[dict[str, Any]]] = {}
    for row in rows:
        index.setdefault(row.get("unit_id") or row.get("file"), []).append(row)
    return index


def _matching(index: dict[Any, list[dict[str, Any]]], where: dict[str, Any]) -> list[dict[str, Any]]:
    rows = index.get(where.get("unit_id") or where.get("file"), [])
    return [row for row in rows if all(row[name] == value for name, value in where.items())]


def _meets(row: dict[str, Any], values: dict[str, Any]) -> bool:
    return all(_is(row[name], wanted) for name, wanted in values.items())


def _is(value: Any, wanted: Any) -> bool:
    if isinstance(wanted, dict) and "at_least" in wanted:
        return value is not None and bool(value >= wanted["at_least"])
    if isinstance(wanted, dict):
        return all(value.get(name) == number for name, number in wanted.items())
    if isinstance(wanted, float):
        return value is not None and abs(value - wanted) < 1e-4
    return bool(value == wanted)
