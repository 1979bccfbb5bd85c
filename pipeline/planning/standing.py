"""The plan that stands: the planning tables last published, as long as the results that they rest on stand too."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl

from pipeline.errors import StorageTrouble
from pipeline.measures.published import Published
from pipeline.store.layout import Store

CURRENT = "current.json"


def folder_of(store: Store) -> Path:
    """Return where a store keeps its plans."""
    return store.root / "planning"


def standing_plan(store: Store, results: Published) -> dict[str, pl.DataFrame]:
    """Return the planning tables that stand, by name; none when nothing is planned from these results."""
    known = _current(store)
    if known is None or known["measured"] != results.run_id:
        return {}
    folder = folder_of(store) / known["run_id"]
    return {name: pl.read_parquet(folder / f"{name}.parquet") for name in known["tables"]}


def _current(store: Store) -> dict[str, str] | None:
    path = folder_of(store) / CURRENT
    if not path.exists():
        return None
    try:
        known: dict[str, str] = json.loads(path.read_bytes())
    except ValueError as error:
        raise StorageTrouble(f"{path}: damaged; delete it and run 'dewledger plan' again.") from error
    return known
