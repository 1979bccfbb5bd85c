"""Whether what a profile states of single columns makes sense."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields
from typing import Any

from pipeline.ingest.profiles import (
    COMMON_COLUMNS,
    CONVERSIONS,
    DURATION_UNITS,
    REFERENCE_RULES,
    Wide,
    column_of,
    nearest,
)
from pipeline.ingest.time_formats import format_fault
from pipeline.records import DATE, INSTANT, TABLES, Table


def column_faults(stated: dict[str, Any], table: Table | None) -> Iterator[str]:
    """Yield the faults of names and shapes in the sections that are about columns."""
    known = _known(table)
    for section, (has_shape, words) in _SHAPES.items():
        given = stated.get(section, {})
        for name, value in given.items() if isinstance(given, dict) else []:
            if name not in known:
                yield f"[{section}] unknown column '{name}'.{nearest(name, known)}"
            elif not has_shape(value):
                yield f"[{section}] '{name}' {words}"
    columns, constants = stated.get("columns", {}), stated.get("constants", {})
    if isinstance(columns, dict) and isinstance(constants, dict):
        for name in sorted(set(columns) & set(constants)):
            yield f"'{name}' stands in [columns] and in [constants]; it can be only one of them."
    if isinstance(stated.get("wide"), dict):
        yield from _wide_faults(stated["wide"], known)


def value_faults(stated: dict[str, Any], table: Table | None) -> Iterator[str]:
    """Yield what can only be judged once all names are right, and for the most part only with one table."""
    if table is None:
        needing = [key for key in _NEED_TABLE if stated.get(key)]
        if needing:
            yield f"'{needing[0]}' needs the one 'table' that the profile is for."
        return
    for name, their in stated.get("columns", {}).items():
        if isinstance(their, list) and column_of(table, name).kind != INSTANT:
            yield f"[columns] '{name}' is no instant; only an instant can stand in two columns."
    for name, unit in stated.get("units", {}).items():
        if not name.endswith(CONVERSIONS[unit]):
            yield f"[units] '{name}' cannot come from {unit}, which leads to columns in {CONVERSIONS[unit]}."
    for name, codes in stated.get("codes", {}).items():
        yield from _code_faults(table, name, codes)
    for name in stated.get("durations", {}):
        if name != table.ended:
            yield f"[durations] '{name}' is not the end of a row of {table.name}."
    if wide := stated.get("wide"):
        kind = column_of(table, wide["day"]).kind
        if kind not in (INSTANT, DATE):
            yield f"[wide] 'day' is '{wide['day']}', which is no date or instant."
        elif kind == INSTANT and wide["day"] != wide["value"] and not wide.get("clock"):
            yield f"[wide] '{wide['day']}' is an instant; give the time of day as clock = \"12:00\"."


#: What a profile of all tables at once cannot say.
_NEED_TABLE = (
    "constants",
    "codes",
    "units",
    "durations",
    "references",
    "wide",
    "exported_at",
    "empty",
    "thousands",
)


def _known(table: Table | None) -> list[str]:
    tables = [table] if table else list(TABLES.values())
    return sorted({name for table in tables for name in table.names} | set(COMMON_COLUMNS))


def _is_text(value: Any) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _is_column(value: Any) -> bool:
    return _is_text(value) or (isinstance(value, list) and len(value) == 2 and all(map(_is_text, value)))


def _is_codes(value: Any) -> bool:
    return isinstance(value, dict) and all(isinstance(item, str | bool | int) for item in value.values())


def _is_duration(value: Any) -> bool:
    return (
        isinstance(value, dict)
        and set(value) == {"column", "unit"}
        and _is_text(value["column"])
        and value["unit"] in DURATION_UNITS
    )


def _is_references(value: Any) -> bool:
    return isinstance(value, list) and all(rule in REFERENCE_RULES for rule in value)


#: What a value of each section must be, and the words for it.
_SHAPES: dict[str, tuple[Callable[[Any], bool], str]] = {
    "columns": (_is_column, 'must be the export\'s own name in quotes, or ["its day", "its time"].'),
    "constants": (lambda value: isinstance(value, str | bool | int | float), "must be one value."),
    "codes": (_is_codes, 'must be a table of codes such as { "Therapy" = "in_use" }.'),
    "units": (lambda value: value in CONVERSIONS, f"must be converted from one of {', '.join(CONVERSIONS)}."),
    "durations": (
        _is_duration,
        f'must be {{ column = "…", unit = "…" }}, one of {", ".join(DURATION_UNITS)}.',
    ),
    "references": (_is_references, f"must be a list of {', '.join(REFERENCE_RULES)}."),
}


def _wide_faults(wide: dict[str, Any], known: list[str]) -> Iterator[str]:
    names = [item.name for item in fields(Wide)]
    yield from (f"[wide] unknown setting '{key}'.{nearest(key, names)}" for key in wide if key not in names)
    yield from (f"[wide] '{key}' must be a text in quotes." for key in wide if not _is_text(wide[key]))
    yield from (f"[wide] '{key}' is missing." for key in ("day", "value", "day_format") if key not in wide)
    for key in ("day", "value"):
        if key in wide and wide[key] not in known:
            yield f"[wide] '{key}' is {wide[key]!r}, which is no column.{nearest(str(wide[key]), known)}"
    if ("month" in wide) != ("month_format" in wide):
        yield "[wide] 'month' and 'month_format' go together; set both or neither."
    head = "\t".join(str(wide[key]) for key in ("day_format", "month_format") if key in wide)
    if _is_text(wide.get("day_format")) and (fault := format_fault(head, with_clock=False)):
        shown = " and ".join(repr(part) for part in head.split("\t"))
        yield f"[wide] the head of a day, {shown}, {fault}"


def _code_faults(table: Table, name: str, codes: dict[str, Any]) -> Iterator[str]:
    column = column_of(table, name)
    known = ("true", "false") if column.kind == "flag" else column.codes
    # Any text may stand for another, such as a ward's number for its name; the parts are the site's own list.
    if column.kind not in ("flag", "code") or name == "part":
        return
    for theirs, ours in codes.items():
        said = str(ours).lower() if isinstance(ours, bool) else str(ours)
        if said not in known:
            yield f"[codes.{name}] {theirs!r} becomes {said!r}, which is none of {', '.join(known)}."
