"""What in a resource of a data package contradicts itself, its file, or the table that it is named for."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from pipeline.ingest.headers import folded
from pipeline.ingest.packages.schemas import TYPES
from pipeline.ingest.profiles import nearest
from pipeline.records import COMMON, DATE, INSTANT, Column, Table

#: Properties of a dialect that say how to read a file, with what they may be; None stands for left out.
_DIALECT = {
    "type": ("delimited",),
    "header": (True,),
    "headerRows": ([1],),
    "doubleQuote": (True,),
    "commentRows": (),
    "commentChar": (),
    "escapeChar": (),
    "nullSequence": (),
}
_HONOURED = ("delimiter", "quoteChar")
_SAYING_NOTHING = (
    *("$schema", "profile", "name", "title", "description", "csv", "csvddfVersion"),
    *("lineTerminator", "caseSensitiveHeader", "headerJoin", "skipInitialSpace"),
)
_MATCHES = ("exact", "equal")
#: Properties that all fields of the same kinds share in one file, and what they are where left out.
_ALIKE = (
    ("decimalChar", ("number",), "."),
    ("groupChar", ("number", "whole"), None),
    ("format", (INSTANT,), "default"),
    ("format", (DATE,), "default"),
)


def dialect_of(resource: dict[str, Any]) -> dict[str, Any]:
    """Return a resource's dialect with what stands one level down in it, under ``csv``."""
    stated = resource.get("dialect") or {}
    return {**stated, **(stated.get("csv") or {})}


def place_faults(resource: dict[str, Any], folder: Path) -> Iterator[str]:
    """Yield why a resource's path is not to be followed, or leads to another file than was described."""
    path = resource.get("path")
    if isinstance(path, list):
        yield "'path' names several files; give each a resource of its own, named like its table."
        return
    if not isinstance(path, str) or not path:
        yield "'path' is missing; name the file beside the package."
        return
    if "://" in path:
        yield f"'path' is the address {path!r}; nothing is fetched: lay the file beside the package."
        return
    found = (folder / path).resolve()
    if "\\" in path or path.startswith("/") or not found.is_relative_to(folder.resolve()):
        yield f"'path' is {path!r}, which leads out of the package's folder."
    elif not found.is_file():
        yield f"'path' is {path!r}, and there is no such file."
    else:
        yield from _file_faults(resource, found)


def _file_faults(resource: dict[str, Any], file: Path) -> Iterator[str]:
    size = file.stat().st_size
    if resource.get("bytes", size) != size:
        yield f"'bytes' is {resource['bytes']}, and the file has {size}: it was changed after it was described."
    name, _, digest = str(resource.get("hash", "")).rpartition(":")
    if digest and name in ("", "md5", "sha1", "sha256", "sha512"):
        with file.open("rb") as content:
            if hashlib.file_digest(content, name or "md5").hexdigest() != digest.lower():
                yield "'hash' is not that of the file: it was changed after it was described."


def layout_faults(resource: dict[str, Any]) -> Iterator[str]:
    """Yield what in a resource's format and dialect is not read."""
    if resource.get("format", "csv") not in ("csv", "tsv"):
        yield f"'format' is {resource['format']!r}; a package is read for csv and tsv, other files by a profile."
    if "compression" in resource:
        yield "'compression' is set; unpack the file, or declare it in a profile."
    if not isinstance(resource.get("dialect", {}), dict):
        yield "'dialect' is no object; write it out in the resource."
        return
    known = (*_HONOURED, *_DIALECT, *_SAYING_NOTHING)
    for key, value in dialect_of(resource).items():
        if key not in known:
            yield f"'dialect': unknown property {key!r}.{nearest(key, known)}"
        elif key in _DIALECT and value is not None and value not in _DIALECT[key]:
            yield f"'dialect': '{key}' is {value!r}; such files are read by a profile."


def schema_faults(schema: Any, table: Table) -> Iterator[str]:
    """Yield where a schema is none, or contradicts the table."""
    fields = schema.get("fields") if isinstance(schema, dict) else None
    if not isinstance(fields, list) or not fields or not all(_is_field(field) for field in fields):
        yield "'schema' must stand in the resource and list its 'fields', each with a 'name'."
        return
    names = [folded(field["name"]) for field in fields]
    doubled = sorted({name for name in names if names.count(name) > 1})
    if doubled:
        yield f"'schema' names a field twice: {', '.join(doubled)}."
    missing = [column.name for column in table.columns if column.required and column.name not in names]
    if missing:
        yield f"'schema' has no field {', '.join(missing)}, which {table.name} needs."
    match = schema.get("fieldsMatch", "exact")
    if (match[:1] if isinstance(match, list) else [match]) not in [[known] for known in _MATCHES]:
        yield f"'fieldsMatch' is {match!r}; a file is read whose fields are those of its schema."
    yield from _field_faults(fields, table)


def _is_field(field: Any) -> bool:
    return isinstance(field, dict) and isinstance(field.get("name"), str) and bool(field["name"].strip())


def _field_faults(fields: list[dict[str, Any]], table: Table) -> Iterator[str]:
    columns = {column.name: column for column in (*table.columns, *COMMON)}
    ours = [(columns[name], field) for field in fields if (name := folded(field["name"])) in columns]
    for column, field in ours:
        stated = field.get("type", "any")
        if stated not in (*TYPES[column.kind], "any"):
            yield f"field '{column.name}' is of type {stated!r}; in {table.name} it is {TYPES[column.kind][0]}."
        if field.get("bareNumber") is False:
            yield f"field '{column.name}' has 'bareNumber' false; export numbers without anything beside them."
        if field.get("format") == "any" and column.kind in (INSTANT, DATE):
            yield f"field '{column.name}' has the format 'any', which leaves open what is day and what month."
        if "missingValues" in field:
            yield f"field '{column.name}' has 'missingValues' of its own; state them for the whole schema."
    yield from _unlike(ours)


def _unlike(ours: list[tuple[Column, dict[str, Any]]]) -> Iterator[str]:
    """Yield what must be the same in all fields of a file and is not."""
    for key, kinds, default in _ALIKE:
        written = {field.get(key, default) for column, field in ours if column.kind in kinds} - {None}
        if len(written) > 1:
            yield f"its fields differ in '{key}' ({', '.join(sorted(map(str, written)))}); write all of a file alike."


def the_one(stated: Iterable[Any]) -> Any:
    """Return the one value that is stated, None where there is none."""
    return next((value for value in stated if value is not None), None)
