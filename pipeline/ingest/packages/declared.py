"""From a data package to the profile of each file that it names: declared, and nothing guessed."""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pipeline.errors import UsageError
from pipeline.ingest.headers import folded
from pipeline.ingest.packages.resource_faults import (
    dialect_of,
    layout_faults,
    place_faults,
    schema_faults,
    the_one,
)
from pipeline.ingest.profile_faults import checked
from pipeline.ingest.profiles import Profile, load_profile, nearest
from pipeline.ingest.time_formats import ISO
from pipeline.records import COMMON, DATE, INSTANT, TABLES, Table

#: A package is a page of text; what is larger is none.
_MOST_BYTES = 4_000_000
_LATIN = {"iso8859-1": "latin-1"}


def declared_files(package: Path) -> dict[Path, tuple[Profile, str]]:
    """Return the profile and the table of each file of a data package; one UsageError names every fault."""
    faults: list[str] = []
    found: dict[Path, tuple[Profile, str]] = {}
    for number, resource in enumerate(_resources(package), 1):
        source = f"{package}: resource '{resource.get('name', number)}'"
        table, wrong = _table_of(resource), list(_faults(resource, package.parent))
        if wrong or table is None:
            faults += [f"{source}: {fault}" for fault in wrong]
            continue
        path = (package.parent / resource["path"]).resolve()
        if path in found:
            faults.append(f"{source}: its file is that of another resource too.")
        try:
            found[path] = (checked(_stated(resource, table), source), table.name)
        except UsageError as error:
            faults.append(str(error))
    if faults:
        raise UsageError("\n".join(faults))
    return found


def _resources(package: Path) -> list[dict[str, Any]]:
    try:
        if package.stat().st_size > _MOST_BYTES:
            raise UsageError(f"{package}: is too large for a data package.")
        stated = json.loads(package.read_bytes())
    except (OSError, ValueError, RecursionError) as error:
        raise UsageError(
            f"{package}: cannot be read as JSON; describe the files again, or remove it."
        ) from error
    resources = stated.get("resources") if isinstance(stated, dict) else None
    if (
        not isinstance(resources, list)
        or not resources
        or not all(isinstance(item, dict) for item in resources)
    ):
        raise UsageError(f"{package}: lists no 'resources'; describe the files again, or remove it.")
    return resources


def _table_of(resource: dict[str, Any]) -> Table | None:
    """Return the table that a resource is named for, as files of the plain layout are."""
    name = load_profile(None).table_of(f"{resource.get('name')}.csv")
    return TABLES[name] if name else None


def _faults(resource: dict[str, Any], folder: Path) -> Iterator[str]:
    table = _table_of(resource)
    if table is None:
        hint = nearest(str(resource.get("name")), list(TABLES))
        yield f"it is named for no input table; call it <table> or <table>_<anything>.{hint}"
    yield from place_faults(resource, folder)
    yield from layout_faults(resource)
    if table:
        yield from schema_faults(resource.get("schema"), table)


def _stated(resource: dict[str, Any], table: Table) -> dict[str, Any]:
    """Return what a resource declares as a profile states it."""
    fields: list[dict[str, Any]] = resource["schema"]["fields"]
    columns = {column.name: column for column in (*table.columns, *COMMON)}
    ours = {name: field for field in fields if (name := folded(field["name"])) in columns}
    dialect = dialect_of(resource)
    stated = {
        "name": f"data package {resource['name']}",
        "files": [Path(resource["path"]).name],
        "table": table.name,
        "encoding": _encoding(str(resource.get("encoding", "utf-8"))),
        "delimiter": dialect.get("delimiter", "\t" if resource.get("format") == "tsv" else ","),
        "quote": dialect.get("quoteChar", '"'),
        "empty": _missing_values(resource["schema"]),
        "columns": {name: field["name"] for name, field in ours.items()},
        "only": [field["name"] for field in fields],
        "codes": {name: codes for name, field in ours.items() if (codes := _flag_codes(field))},
        "decimal": the_one(field.get("decimalChar") for field in ours.values()),
        "thousands": the_one(field.get("groupChar") for field in ours.values()),
    }
    for setting, kind in (("time_formats", INSTANT), ("date_formats", DATE)):
        written = the_one(field.get("format") for name, field in ours.items() if columns[name].kind == kind)
        stated[setting] = [ISO if written in (None, "default") else written]
    return {setting: value for setting, value in stated.items() if value is not None}


def _encoding(stated: str) -> str:
    """Return the name by which profiles know an encoding; one that nobody knows stays as it is."""
    try:
        name = codecs.lookup(stated).name
    except LookupError:
        return stated
    return _LATIN.get(name, name)


def _missing_values(schema: dict[str, Any]) -> list[str]:
    """Return the texts that mean nothing, which may come with a label."""
    stated = schema.get("missingValues", [])
    return [str(item.get("value") if isinstance(item, dict) else item) for item in stated if item]


def _flag_codes(field: dict[str, Any]) -> dict[str, bool]:
    """Return what a boolean field calls true and false, where it says so."""
    if field.get("type") != "boolean":
        return {}
    words = {True: field.get("trueValues", []), False: field.get("falseValues", [])}
    return {str(word): meaning for meaning, said in words.items() for word in said}
