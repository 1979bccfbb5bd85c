"""The store's records judged in memory for one question; nothing of it is stored.

A question may change how cycles are judged ("what if these were not good?"). So that the answer agrees with
the published measures in all else, the same SQL models make it.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import duckdb

from pipeline.errors import NothingToDo, UsageError
from pipeline.measures import engine, known_records, parameters
from pipeline.measures.sql_files import Model, load_models
from pipeline.site_rules import SiteRules
from pipeline.store.kept_rules import rules_of
from pipeline.store.layout import Store
from pipeline.store.ledger import entries
from pipeline.store.row_queries import literal
from pipeline.store.settle import settle

_CYCLES = "facts.disinfection_cycles"

#: Why a cycle that a question leaves out is not valid.
LEFT_OUT = "left_out"


#: A disinfection cycle: its site, unit and start.
CycleKey = tuple[str, str, datetime]


@dataclass(frozen=True)
class Records:
    """The records as known at ``as_of``. ``files`` maps a file's SHA-256 to its name; ``made`` are the models."""

    connection: duckdb.DuckDBPyConnection
    sites: dict[str, SiteRules]
    as_of: datetime
    files: dict[str, str]
    made: set[str] = field(default_factory=set)


@contextlib.contextmanager
def known_at(
    store: Store, as_of: datetime | None, min_a0_s: float | None = None, site: str | None = None
) -> Iterator[Records]:
    """Give the records of a store, of one site or all, as known at an instant (default: the latest event).

    Raises UsageError for a site that the store does not know, or an A0 where the heat is not moist;
    NothingToDo for a store without events.
    """
    ledger = entries(store)
    known = sorted({part.site_id for entry in ledger for part in entry.parts})
    scratch = store.root / f"scratch-{os.getpid()}"
    connection = engine.connect(store.root, scratch)
    try:
        settle(connection, store)
        as_of, first = as_of or known_records.latest_event(connection), known_records.first_day(connection)
        if as_of is None or first is None:
            raise NothingToDo("The store holds no event yet; ingest some exports first.")
        rules = {name: _with_a0(rules_of(store, name), min_a0_s) for name in _chosen(known, site)}
        parameters.create(connection, rules, as_of, first)
        known_records.create(connection)
        yield Records(connection, rules, as_of, {entry.sha256: entry.name for entry in ledger})
    finally:
        connection.close()
        shutil.rmtree(scratch, ignore_errors=True)


def only_samples_of(records: Records, units: Collection[str]) -> None:
    """Read the samples of these units only; by far the most rows are of units that nobody asked about."""
    listed = ", ".join(literal(unit) for unit in sorted(units)) or "null"
    records.connection.execute("alter view settled.usage_samples rename to usage_samples_of_all")
    records.connection.execute(
        "create view settled.usage_samples as"
        f" select * from settled.usage_samples_of_all where unit_id in ({listed})"
    )


def make(records: Records, tables: Sequence[str], left_out: Sequence[CycleKey] = ()) -> None:
    """Make these tables and what they rest on; the cycles left out count as not valid wherever that matters."""
    needed = [model for model in _needed(tables) if model.table not in records.made]
    before, after = _split(needed)
    engine.run(records.connection, before)
    for cycle in left_out if any(model.table == _CYCLES for model in before) else ():
        records.connection.execute(
            f"update {_CYCLES} set valid = false, invalid_reason = '{LEFT_OUT}'"
            " where site_id = ? and unit_id = ? and started_at = ?",
            list(cycle),
        )
    engine.run(records.connection, after)
    records.made.update(model.table for model in needed)


def _chosen(known: list[str], site: str | None) -> list[str]:
    if site is None:
        return known
    chosen = [name for name in known if name.casefold() == site.strip().casefold()]
    if not chosen:
        raise UsageError(f"--site: the store knows no site '{site}'; it has {', '.join(known)}.")
    return chosen


def _with_a0(rules: SiteRules, min_a0_s: float | None) -> SiteRules:
    if min_a0_s is not None and rules.disinfection_heat != "moist":
        raise UsageError(
            f"--min-a0: A0 is defined for moist heat only, and site {rules.site_id or 'rules'} does not state"
            ' disinfection_heat = "moist"; name the cycles in doubt with --without-cycle instead.'
        )
    return rules if min_a0_s is None else replace(rules, min_a0_s=min_a0_s)


def _needed(tables: Sequence[str]) -> list[Model]:
    """Return the models of these tables and of what they rest on, in an order in which they can be made."""
    models = {model.table: model for model in load_models()}
    wanted: set[str] = set()
    left = list(tables)
    while left:
        table = left.pop()
        if table in models and table not in wanted:
            wanted.add(table)
            left += models[table].reads
    return [model for model in models.values() if model.table in wanted]


def _split(models: list[Model]) -> tuple[list[Model], list[Model]]:
    """Split the models after the judgement of cycles, all before it when it is not among them."""
    places = [number for number, model in enumerate(models) if model.table == _CYCLES]
    cut = places[0] + 1 if places else len(models)
    return models[:cut], models[cut:]
