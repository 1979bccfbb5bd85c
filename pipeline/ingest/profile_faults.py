"""Whether what a profile states makes sense: every fault is named, all of them at once."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import fields
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pipeline.errors import UsageError
from pipeline.ingest.column_faults import column_faults, value_faults
from pipeline.ingest.profiles import (
    COMPRESSIONS,
    ENCODINGS,
    FORMATS,
    Duration,
    Profile,
    Wide,
    nearest,
)
from pipeline.ingest.time_formats import SERIALS, format_fault
from pipeline.records import TABLES

_CHOICES = {
    "format": FORMATS,
    "compression": COMPRESSIONS,
    "encoding": ENCODINGS,
    "decimal": (".", ","),
    "thousands": (".", ",", " ", "'"),
    "quote": ('"', "'", ""),
    "replaces": ("window",),
}
_LISTS = ("files", "empty", "footers", "time_formats", "date_formats", "only")
_TABLES = ("columns", "constants", "codes", "units", "durations", "references", "wide")
_TEXTS = ("sheet", "time_zone", "exported_at")


def checked(stated: dict[str, Any], source: str) -> Profile:
    """Return the profile that is stated; raise one UsageError that names every fault."""
    faults = [fault for find in (_setting_faults, _file_faults, _pattern_faults) for fault in find(stated)]
    table = TABLES.get(str(stated.get("table")))
    faults += column_faults(stated, table)
    if not faults:
        faults += value_faults(stated, table)
    if faults:
        raise UsageError("\n".join(f"{source}: {fault}" for fault in faults))
    if stated.get("format") == "tsv":
        stated = {"delimiter": "\t", **stated}
    return Profile(**{key: _typed(key, value) for key, value in stated.items()})


def _typed(key: str, value: Any) -> Any:
    if key in _LISTS:
        return tuple(value)
    return _TYPED[key](value) if key in _TYPED else value


def _typed_codes(value: dict[str, dict[str, Any]]) -> dict[str, dict[str, str]]:
    return {
        ours: {theirs.strip().lower(): as_text(said) for theirs, said in codes.items()}
        for ours, codes in value.items()
    }


_TYPED: dict[str, Callable[[Any], Any]] = {
    "columns": lambda value: {
        ours: tuple(their) if isinstance(their, list) else their for ours, their in value.items()
    },
    "references": lambda value: {ours: tuple(rules) for ours, rules in value.items()},
    "durations": lambda value: {ours: Duration(**said) for ours, said in value.items()},
    "constants": lambda value: {ours: as_text(said) for ours, said in value.items()},
    "codes": _typed_codes,
    "wide": lambda value: Wide(**value),
}


def as_text(value: Any) -> str:
    """Return a value of the profile as a file would say it."""
    return str(value).lower() if isinstance(value, bool) else str(value)


def _setting_faults(stated: dict[str, Any]) -> Iterator[str]:
    known = [item.name for item in fields(Profile)]
    for key, value in stated.items():
        if key not in known:
            yield f"unknown setting '{key}'.{nearest(key, known)}"
        elif key in _LISTS and key != "files" and not _is_list_of_texts(value):
            yield f"'{key}' must be a list of texts in quotes."
        elif key in _TABLES and not isinstance(value, dict):
            yield f"[{key}] must be a table of its own."
        elif key in _TEXTS and not isinstance(value, str):
            yield f"'{key}' must be a text in quotes."
        elif key in _CHOICES and value not in _CHOICES[key]:
            choices = ", ".join(repr(choice) for choice in _CHOICES[key])
            yield f"'{key}' is {value!r}; it must be one of {choices}.{nearest(str(value), _CHOICES[key])}"


def _is_list_of_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def _file_faults(stated: dict[str, Any]) -> Iterator[str]:
    files, table, delimiter = stated.get("files"), stated.get("table"), stated.get("delimiter", ",")
    if not isinstance(stated.get("name"), str):
        yield "'name' is missing; give the profile a name in quotes."
    if not isinstance(files, list) or not files or not _is_list_of_texts(files):
        yield "'files' must be a list of file-name patterns such as [\"{table}.csv\"]."
    elif table is None and not all("{table}" in item for item in files):
        yield "name the 'table', or write {table} into every pattern of 'files'."
    if table is not None and table not in TABLES:
        yield f"'table' is {table!r}, which is no input table.{nearest(str(table), list(TABLES))}"
    is_character = isinstance(delimiter, str) and len(delimiter) == 1 and delimiter.isascii()
    if not is_character or delimiter in '"\r\n':
        yield "'delimiter' must be one ASCII character other than a quote or a line end."
    form, sheet = stated.get("format", "csv"), stated.get("sheet")
    if form == "xlsx" and not sheet:
        yield "'sheet' is missing; name the sheet of the workbook that holds the table."
    if form != "xlsx" and sheet is not None:
        yield "'sheet' is set, but only a workbook (format = \"xlsx\") has sheets."
    if form in ("xlsx", "parquet") and stated.get("compression", "none") != "none":
        yield f"'compression' is set, but {form} files are compressed in themselves; leave it out."


def _pattern_faults(stated: dict[str, Any]) -> Iterator[str]:
    zone = stated.get("time_zone")
    if isinstance(zone, str) and not _is_zone(zone):
        yield f"'time_zone' is {zone!r}, which is no IANA zone such as 'Europe/Dublin'."
    for key in ("time_formats", "date_formats"):
        formats = stated.get(key, ["iso"])
        if formats == []:
            yield f'\'{key}\' is empty; name a format such as "%d/%m/%Y", "iso" or "{SERIALS[0]}".'
        for item in formats if _is_list_of_texts(formats) else []:
            if fault := format_fault(item, with_clock=key == "time_formats"):
                yield f"'{key}': {item!r} {fault}"
    footers = stated.get("footers", [])
    for pattern in footers if _is_list_of_texts(footers) else []:
        if fault := _regex_fault(pattern, groups=None):
            yield f"'footers': {fault}"
    exported_at = stated.get("exported_at")
    if isinstance(exported_at, str) and (fault := _regex_fault(exported_at, groups=1)):
        yield f"'exported_at': {fault}"
    if stated.get("thousands") is not None and stated.get("thousands") == stated.get("decimal", "."):
        yield "'thousands' and 'decimal' are the same mark."


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _regex_fault(pattern: str, groups: int | None) -> str | None:
    try:
        found = re.compile(pattern).groups
    except re.error as error:
        return f"{pattern!r} is no regular expression ({error})."
    if groups is not None and found != groups:
        return f"{pattern!r} must have one pair of round brackets, round the part that counts."
    return None
