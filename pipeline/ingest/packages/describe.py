"""From a folder of exports in the plain layout to the data package that describes them."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import Any

from pipeline.errors import RefusedFile
from pipeline.ingest.packages.schemas import package_bytes, resource, table_schema
from pipeline.ingest.profiles import load_profile
from pipeline.ingest.read_files import fingerprint, open_export, read_content
from pipeline.ingest.row_rules import table_at_site
from pipeline.ingest.text_encodings import decoded
from pipeline.records import TABLES, Table
from pipeline.site_rules import SiteRules

_TITLE = "Exports of humidified high-flow units in the plain layout"


def describe(folder: Path, rules: SiteRules) -> bytes:
    """Return a data package of the files in a folder that are named as in the plain layout.

    Where there are none it is of one file for each table, for whoever is to make them. Raises RefusedFile for a
    file that is not its table.
    """
    tables = {name: table_at_site(table, rules) for name, table in TABLES.items()}
    plain = load_profile(None)
    files = sorted(path for path in folder.glob("*") if path.is_file())
    named = [(path, tables[name]) for path in files if (name := plain.table_of(path.name))]
    described = [_described(path, table) for path, table in named]
    layout = [
        resource(f"{name}.csv", table_schema(table, table.names), table.meaning)
        for name, table in tables.items()
    ]
    return package_bytes(described or layout, name="dewledger-exports", title=_TITLE)


def _described(path: Path, table: Table) -> dict[str, Any]:
    content = read_content(path)
    profile = load_profile(None)
    try:
        open_export(path.name, fingerprint(content), content, table, profile)
    except RefusedFile as refusal:
        raise RefusedFile(f"{path.name}: {refusal}.") from refusal
    header = re.split(rb"[\r\n]", decoded(content, profile.encoding), maxsplit=1)[0].decode()
    names = [name.strip() for name in next(csv.reader([header]))]
    return resource(path.name, table_schema(table, names), table.meaning)
