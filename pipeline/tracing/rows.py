"""Rows of a query by name, and the frozen values made of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import fields
from typing import Any, TypeVar

from pipeline.tracing.judge import Records
from pipeline.tracing.links import Place

Row = dict[str, Any]
Unit = tuple[str, str]
_Kind = TypeVar("_Kind")


def rows(records: Records, query: str, **asked: object) -> list[Row]:
    """Return a query's rows, each by the names of its columns."""
    answer = records.connection.execute(query, asked)
    names = [column[0] for column in answer.description or ()]
    return [dict(zip(names, row, strict=True)) for row in answer.fetchall()]


def rows_of_units(records: Records, query: str, units: Collection[Unit]) -> list[Row]:
    """Return the rows of a query that asks for ``$units``."""
    wanted = [{"site": site, "unit": unit} for site, unit in sorted(units)]
    return rows(records, query, units=wanted) if wanted else []


def made(kind: type[_Kind], row: Mapping[str, Any], **more: Any) -> _Kind:
    """Return a frozen value of those columns of a row that it has a field for, and of ``more``."""
    named = {item.name for item in fields(kind)} - more.keys()  # type: ignore[arg-type]
    return kind(**{name: value for name, value in row.items() if name in named}, **more)


def placed(records: Records, found: Collection[Row], *key: str) -> defaultdict[Any, list[Place]]:
    """Return where rows stand (``file_sha256`` and ``source_row``) by the values of some columns."""
    places: defaultdict[Any, list[Place]] = defaultdict(list)
    for row in found:
        places[tuple(row[name] for name in key)].append(place(records, row["file_sha256"], row["source_row"]))
    return places


def place(records: Records, sha256: str, row: int) -> Place:
    """Return where a settled row stands."""
    return Place(records.files[sha256], sha256, row)
