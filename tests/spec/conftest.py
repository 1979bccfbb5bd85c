"""A spec is a text table of records, one call, and a text table of what must come out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import duckdb
import polars as pl
import pytest

from pipeline.measures import engine
from pipeline.records import TABLES, Column, stored_name
from pipeline.site_rules import SiteRules, parse_site_rules

SITE = "T"
_TYPES = {
    "instant": pl.Datetime("us"),
    "date": pl.Date,
    "number": pl.Float64,
    "whole": pl.Int64,
    "flag": pl.Boolean,
}


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
    """Return a connection whose schema `settled` holds these records of one site.

    Instants may leave out the year 2026; a patient reference stands as its own key.
    """
    connection = duckdb.connect()
    engine.add_functions(connection)
    connection.execute("create schema settled")
    assert given.keys() <= TABLES.keys()
    for table in TABLES.values():
        rows = [
            {"site_id": SITE}
            | {stored_name(column): _value(column, row.pop(stored_name(column), "")) for column in table.columns}
            | row
            for row in read_table(given.get(table.name, "-"))
        ]
        schema = {"site_id": pl.String} | {
            stored_name(column): _TYPES.get(column.kind, pl.String) for column in table.columns
        }
        assert all(row.keys() == schema.keys() for row in rows), f"unknown column in {table.name}"
        connection.register("given", pl.DataFrame(rows, schema=schema))
        connection.execute(f"create table settled.{table.name} as select * from given")
        connection.unregister("given")
    return connection


def _shown(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="seconds" if value.second else "minutes").removeprefix("2026-")
    return f"{value:.5g}" if isinstance(value, float) else str(value)


@pytest.fixture
def spec() -> Callable[..., None]:
    """Compare the named columns of one model's rows, in any order, with the rows expected."""

    def compare(model: str, given: dict[str, str], expect: str, as_of: str = "12-31 00:00", rules: str = "") -> None:
        connection = settled(given)
        engine.compute(connection, {SITE: _rules(rules)}, datetime.fromisoformat(f"2026-{as_of}"))
        wanted = read_table(expect)
        columns = [cell.strip() for cell in expect.strip().splitlines()[0].split("|")]
        rows = connection.execute(f"select {', '.join(columns)} from {model}").fetchall()
        found = sorted(tuple(map(_shown, row)) for row in rows)
        assert found == sorted(tuple(row[column] for column in columns) for row in wanted)

    return compare


def _rules(text: str) -> SiteRules:
    zone = "" if "time_zone" in text else 'time_zone = "UTC"\n'
    return parse_site_rules(zone + text)


@pytest.fixture
def computed() -> Callable[..., duckdb.DuckDBPyConnection]:
    """Return the connection after all models ran, for properties over several tables."""

    def compute(given: dict[str, str], as_of: str = "12-31 00:00", rules: str = "") -> duckdb.DuckDBPyConnection:
        connection = settled(given)
        engine.compute(connection, {SITE: _rules(rules)}, datetime.fromisoformat(f"2026-{as_of}"))
        return connection

    return compute
