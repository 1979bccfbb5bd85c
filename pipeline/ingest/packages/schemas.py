"""The canonical tables as Table Schemas, and files as resources of a data package."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any

from pipeline.ingest.headers import folded
from pipeline.records import COMMON, DATE, INSTANT, Column, Table

#: The name under which a data package lies beside the files that it describes.
PACKAGE = "datapackage.json"
PACKAGE_SCHEMA = "https://datapackage.org/profiles/2.0/datapackage.json"
#: The type that a kind of column is written as, and the other types that contradict it no more than that one.
TYPES = {
    "id": ("string", "integer"),
    "text": ("string",),
    "patient": ("string", "integer"),
    INSTANT: ("datetime",),
    DATE: ("date",),
    "number": ("number", "integer"),
    "whole": ("integer",),
    "flag": ("boolean",),
    "code": ("string",),
}
_FLAGS = {"trueValues": ["true", "yes", "1"], "falseValues": ["false", "no", "0"]}


def package_bytes(resources: Sequence[dict[str, Any]], **stated: str) -> bytes:
    """Return a data package of these resources as JSON, the same bytes for the same resources."""
    package = {"$schema": PACKAGE_SCHEMA, **stated, "resources": list(resources)}
    return (json.dumps(package, indent=1, ensure_ascii=False) + "\n").encode()


def resource(file_name: str, schema: dict[str, Any], description: str) -> dict[str, Any]:
    """Return a file of comma-separated UTF-8 text, or of Parquet, as a resource named like the file."""
    stem, _, ending = file_name.rpartition(".")
    described = {
        "name": re.sub(r"[^a-z0-9._-]", "-", stem.lower()),
        "type": "table",
        "path": file_name,
        "format": ending.lower(),
        "description": description,
    }
    if ending.lower() == "parquet":
        return {**described, "mediatype": "application/vnd.apache.parquet", "schema": schema}
    text = {"mediatype": "text/csv", "encoding": "utf-8", "dialect": {"delimiter": ",", "quoteChar": '"'}}
    return {**described, **text, "schema": schema}


def table_schema(table: Table, names: Sequence[str]) -> dict[str, Any]:
    """Return the schema of a file that holds the table in columns of these names, its own or any other.

    A key with columns that may be empty is a unique key, in which rows with an empty one do not count.
    """
    known = {column.name: column for column in (*table.columns, *COMMON)}
    spelled = {folded(name): name for name in names}
    key = [spelled[name] for name in ("site_id", *table.key) if name in spelled]
    may_be_empty = any(not table.column(name).required for name in table.key)
    return {
        "fields": [_field(known.get(folded(name)), name) for name in names],
        "missingValues": [""],
        **({"uniqueKeys": [key]} if may_be_empty else {"primaryKey": key}),
    }


def _field(column: Column | None, name: str) -> dict[str, Any]:
    if column is None:
        return {"name": name, "type": "any", "description": "No column of the table; it is not read."}
    constraints = {
        "required": column.required or None,
        "enum": list(column.codes) or None,
        "minimum": column.low,
        "maximum": column.high,
    }
    stated = {key: value for key, value in constraints.items() if value is not None}
    return {
        "name": name,
        "type": TYPES[column.kind][0],
        "description": f"{column.meaning[0].upper()}{column.meaning[1:]}.",
        **(_FLAGS if column.kind == "flag" else {}),
        **({"constraints": stated} if stated else {}),
    }
