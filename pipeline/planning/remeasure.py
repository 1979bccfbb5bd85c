"""The measured tables under other rules, computed beside the published ones and kept nowhere."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import polars as pl

from pipeline.errors import NothingToDo
from pipeline.measures import engine, known_records, parameters
from pipeline.measures.sql_files import Model, load_models
from pipeline.planning.records import TABLES
from pipeline.site_rules import SiteRules
from pipeline.store.layout import Store
from pipeline.store.settle import settle


def remeasured(store: Store, sites: Mapping[str, SiteRules], as_of: datetime) -> dict[str, pl.DataFrame]:
    """Return the tables that planning reads, measured as of an instant under these rules."""
    with tempfile.TemporaryDirectory(dir=store.root, prefix="scratch") as scratch:
        connection = engine.connect(store.root, Path(scratch))
        settle(connection, store)
        first = known_records.first_day(connection)
        if first is None:
            raise NothingToDo("The store holds no event yet; ingest some exports first.")
        parameters.create(connection, dict(sites), as_of, first)
        known_records.create(connection)
        models = _needed()
        engine.run(connection, models)
        return {
            model.name: pl.DataFrame(
                connection.sql(f"select * from {model.table} order by all nulls first").to_arrow_table()
            )
            for model in models
            if model.name in TABLES
        }


def _needed() -> list[Model]:
    """Return the models that the planning tables rest on, in the order in which they are made."""
    models = {model.table: model for model in load_models()}
    left = [model.table for model in models.values() if model.name in TABLES]
    wanted: set[str] = set()
    while left:
        if (table := left.pop()) in models and table not in wanted:
            wanted.add(table)
            left += models[table].reads
    return [model for model in models.values() if model.table in wanted]
