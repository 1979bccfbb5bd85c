"""Some of the tables, measured in memory as of an instant: beside the published results, which stay as they are."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path

import duckdb

from pipeline.errors import NothingToDo
from pipeline.measures import engine, known_records, parameters
from pipeline.measures.sql_files import LAYERS, Model, load_models
from pipeline.site_rules import SiteRules
from pipeline.store.kept_rules import rules_of
from pipeline.store.layout import Store
from pipeline.store.ledger import entries
from pipeline.store.settle import settle

_RECORDS = "records."


@contextlib.contextmanager
def measured(
    store: Store, as_of: datetime, models: Iterable[Model]
) -> Iterator[tuple[duckdb.DuckDBPyConnection, dict[str, SiteRules]]]:
    """Make the models' tables as of an instant (naive UTC); give the connection, and the rules by site.

    The store is only read. Raises NothingToDo when no record began by then.
    """
    sites = {part.site_id: rules_of(store, part.site_id) for entry in entries(store) for part in entry.parts}
    sites = dict(sorted(sites.items()))
    with tempfile.TemporaryDirectory(prefix="dewledger-") as scratch:
        connection = engine.connect(store.root, Path(scratch))
        try:
            settle(connection, store)
            first = known_records.first_day(connection)
            if first is None or first > as_of.date():
                raise NothingToDo("The store holds no event up to then; ingest some exports first.")
            parameters.create(connection, sites, as_of, first)
            known_records.create(connection)
            for layer in sorted({model.layer for model in models} - set(LAYERS)):
                connection.execute(f"create schema {layer}")
            engine.run(connection, models)
            yield connection, sites
        finally:
            connection.close()


def models_behind(*tables: str, layers: tuple[str, ...] = LAYERS) -> list[Model]:
    """Return the models that these tables rest on, and their own, in the order in which they are made."""
    models = {model.table: model for model in load_models(layers)}
    wanted: set[str] = set()
    left = list(tables)
    while left:
        if (table := left.pop()) in models and table not in wanted:
            wanted.add(table)
            left += models[table].reads
    return [model for model in models.values() if model.table in wanted]


def inputs_behind(table: str) -> set[str]:
    """Return the names of the input tables that a table rests on, through all the models between."""
    reads = {name for model in models_behind(table) for name in model.reads}
    return {name.removeprefix(_RECORDS) for name in reads if name.startswith(_RECORDS)}
