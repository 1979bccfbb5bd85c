"""A spec is a text table of records, one call, and a text table of what must come out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from functools import cache
from typing import Any

import duckdb
import pytest

from pipeline.measures import engine, heat_dose, humidity, known_records, parameters
from pipeline.measures.sql_files import Model, load_models
from pipeline.records import TABLES, Column, Table, stored_name
from pipeline.site_rules import parse_site_rules

SITE = "T"
_TYPES = {"instant": "timestamp", "date": "date", "number": "double", "whole": "bigint", "flag": "boolean"}


def read_table(text: str) -> list[dict[str, str]]:
    """Read lines of cells between bars; the first line names the columns.

    >>> read_table("unit_id | ward\\n  u1 | Alder")
    [{'unit_id': 'u1', 'ward': 'Alder'}]
    """
    lines = [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]
    return [dict(zip(lines[0], cells, strict=True)) for cells in lines[1:]]


def _value(column: Column, text: str) -> Any:
    if not text:
        return None
    readers: dict[str, Callable[[str], Any]] = {
        "instant": lambda stated: datetime.fromisoformat(f"2026-{stated}" if stated[2] == "-" else stated),
        "date": date.fromisoformat,
        "number": float,
        "whole": int,
        "flag": lambda stated: stated == "true",
    }
    return readers.get(column.kind, str)(text)


def settled(given: dict[str, str]) -> duckdb.DuckDBPyConnection:
    """Return a connection whose schema `settled` holds these records, of site T unless a row names another.

    Instants may leave out the year 2026; a patient reference stands as its own key.
    """
    connection = duckdb.connect()
    connection.execute("set threads = 1")
    connection.execute("begin")  # one transaction for all is a tenth faster
    engine.add_functions(connection)
    connection.execute("create schema settled")
    assert given.keys() <= TABLES.keys()
    for table in TABLES.values():
        columns = [f"{stored_name(column)} {_TYPES.get(column.kind, 'varchar')}" for column in table.columns]
        connection.execute(f"create table settled.{table.name} (site_id varchar, {', '.join(columns)})")
        if rows := [_record(table, row) for row in read_table(given.get(table.name, "-"))]:
            marks = ", ".join("?" * len(rows[0]))
            connection.executemany(f"insert into settled.{table.name} values ({marks})", rows)
    return connection


def _record(table: Table, row: dict[str, str]) -> list[Any]:
    """Return a row's values in the order of the table's columns; a column that is not there is empty."""
    columns = {stored_name(column): column for column in table.columns}
    assert row.keys() <= columns.keys() | {"site_id"}, f"unknown column in {table.name}"
    return [
        row.get("site_id", SITE),
        *(_value(column, row.get(name, "")) for name, column in columns.items()),
    ]


@cache
def _needed(tables: tuple[str, ...]) -> list[Model]:
    """Return the models that these tables rest on and they themselves, in the order in which they are made."""
    models = {model.table: model for model in load_models()}
    wanted, left = set(), list(tables)
    while left:
        if (table := left.pop()) in models and table not in wanted:
            wanted.add(table)
            left += models[table].reads
    return [model for model in models.values() if model.table in wanted]


def _shown(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="seconds" if value.second else "minutes").removeprefix(
            "2026-"
        )
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def _spare_idle_lookups(given: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the long look-up tables that no record of the spec uses; making them is half a spec's time."""
    if "cycle_temperatures" not in given:
        monkeypatch.setattr(heat_dose, "heat_lookup", lambda: [(0, 0)])
    if not {"usage_samples", "usage_sessions"} & given.keys():
        monkeypatch.setattr(humidity, "water_lookup", lambda _: [(0, 0)])


@pytest.fixture
def computed() -> Callable[..., duckdb.DuckDBPyConnection]:
    """Return the connection after the models ran: all of them, or only what the named tables rest on."""

    def compute(
        given: dict[str, str], as_of: str = "12-31 00:00", rules: str = "", tables: tuple[str, ...] = ()
    ) -> duckdb.DuckDBPyConnection:
        connection = settled(given)
        zone = "" if "time_zone" in rules else 'time_zone = "UTC"\n'
        named = {row.get("site_id", SITE) for table in given.values() for row in read_table(table)}
        sites = {site: parse_site_rules(zone + rules) for site in sorted(named)}
        first = known_records.first_day(connection)
        assert first is not None, "a spec needs a record with a time"
        with pytest.MonkeyPatch.context() as monkeypatch:
            _spare_idle_lookups(given, monkeypatch)
            parameters.create(connection, sites, datetime.fromisoformat(f"2026-{as_of}"), first)
        known_records.create(connection)
        engine.run(connection, _needed(tables) if tables else load_models())
        return connection

    return compute


@pytest.fixture
def spec(computed: Callable[..., duckdb.DuckDBPyConnection]) -> Callable[..., None]:
    """Compare the named columns of one model's rows, in any order, with the rows expected."""

    def compare(
        model: str, given: dict[str, str], expect: str, as_of: str = "12-31 00:00", rules: str = ""
    ) -> None:
        connection = computed(given, as_of, rules, (model,))
        wanted = read_table(expect)
        columns = [cell.strip() for cell in expect.strip().splitlines()[0].split("|")]
        rows = connection.execute(f"select {', '.join(columns)} from {model}").fetchall()
        found = sorted(tuple(map(_shown, row)) for row in rows)
        assert found == sorted(tuple(row[column] for column in columns) for row in wanted)

    return compare
