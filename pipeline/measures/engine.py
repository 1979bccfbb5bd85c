"""Runs the SQL models in DuckDB, from settled records to published tables."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

import duckdb
from duckdb.sqltypes import BIGINT, DOUBLE

from pipeline.errors import NothingToDo
from pipeline.measures import competing_risks, intervals, known_records, parameters
from pipeline.measures.sql_files import LAYERS, Model, load_models
from pipeline.site_rules import SiteRules

_MEMORY_LIMIT = "2GB"


def connect(folder: Path, temporary: Path) -> duckdb.DuckDBPyConnection:
    """Open an in-memory connection that can read below ``folder`` and nowhere else.

    The order matters: once external access is off and the configuration locked, nothing turns it on again.
    """
    connection = duckdb.connect()
    for setting in (
        "set autoinstall_known_extensions = false",
        "set autoload_known_extensions = false",
        "set allow_community_extensions = false",
        f"set memory_limit = '{_MEMORY_LIMIT}'",
        "set preserve_insertion_order = false",
        "set TimeZone = 'UTC'",
    ):
        connection.execute(setting)
    for name, path in (("temp_directory", temporary), ("allowed_directories", folder)):
        quoted = "'" + str(path).replace("'", "''") + "'"
        connection.execute(f"set {name} = {quoted if name == 'temp_directory' else f'[{quoted}]'}")
    connection.execute("set enable_external_access = false")
    add_functions(connection)
    connection.execute("set lock_configuration = true")
    return connection


def add_functions(connection: duckdb.DuckDBPyConnection) -> None:
    """Give SQL the statistics that live in Python, so that each is written once."""
    times, statuses = "BIGINT[]", "VARCHAR[]"
    functions: list[tuple[str, Callable[..., Any], list[Any], Any]] = [
        ("wilson_low", intervals.wilson_low, [BIGINT, BIGINT], DOUBLE),
        ("wilson_high", intervals.wilson_high, [BIGINT, BIGINT], DOUBLE),
        ("incidence_time", _or_empty(competing_risks.incidence_time), [times, statuses, DOUBLE], BIGINT),
        ("incidence_at", _or_empty(competing_risks.incidence_at), [times, statuses, BIGINT], DOUBLE),
    ]
    for name, function, takes, gives in functions:
        # The library's own stubs know no general callable.
        connection.create_function(name, function, takes, gives, null_handling="special")  # type: ignore[call-overload]


def _or_empty(function: Callable[..., Any]) -> Callable[..., Any]:
    """Read the empty lists that SQL hands over as null."""
    return lambda times, statuses, level: function(times or [], statuses or [], level)


def compute(
    connection: duckdb.DuckDBPyConnection,
    sites: dict[str, SiteRules],
    as_of: datetime | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> datetime:
    """Make every table from the schema `settled` and return the instant it was made for."""
    as_of = as_of or known_records.latest_event(connection)
    first = known_records.first_day(connection)
    if as_of is None or first is None:
        raise NothingToDo("The store holds no event yet; ingest some exports first.")
    parameters.create(connection, sites, as_of, first)
    known_records.create(connection)
    run(connection, load_models(), progress)
    return as_of


def run(
    connection: duckdb.DuckDBPyConnection,
    models: Iterable[Model],
    progress: Callable[[str], None] = lambda _: None,
) -> None:
    """Create the models' tables in the order given."""
    for layer in LAYERS:
        connection.execute(f"create schema if not exists {layer}")
    for model in models:
        progress(model.table)
        connection.execute(f"create table {model.table} as {model.sql}")
