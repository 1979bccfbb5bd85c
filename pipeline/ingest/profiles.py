"""Export profiles (contract section 6): what a kind of export file looks like, read from strict TOML."""

from __future__ import annotations

import difflib
import fnmatch
import tomllib
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from pipeline.errors import UsageError
from pipeline.records import TABLES

PLAIN = Path(__file__).parent / "profiles" / "plain.toml"


@dataclass(frozen=True)
class Profile:
    """One kind of export. ``files`` are file-name patterns, in which ``{table}`` stands for a table's name.

    ``table`` names the one table of patterns without ``{table}``; ``columns`` gives the export's own name of
    a canonical column where it differs.
    """

    name: str
    files: tuple[str, ...]
    table: str | None = None
    delimiter: str = ","
    columns: dict[str, str] = field(default_factory=dict)

    def table_of(self, file_name: str) -> str | None:
        """Return the table that a file of this name holds, else None; the case of letters does not matter.

        >>> plain = load_profile(None)
        >>> plain.table_of("Usage_Samples_2026-03.csv"), plain.table_of("notes.txt")
        ('usage_samples', None)
        """
        for table in [self.table] if self.table else TABLES:
            patterns = (pattern.replace("{table}", table).lower() for pattern in self.files)
            if any(fnmatch.fnmatchcase(file_name.lower(), pattern) for pattern in patterns):
                return table
        return None


def load_profile(path: Path | None) -> Profile:
    """Read a profile, `plain` when no path is given; raise one UsageError that names every fault."""
    path = path or PLAIN
    try:
        stated = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise UsageError(f"{path}: cannot read the profile: {reason}. Name an existing TOML file.") from error
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{path}: not a TOML file: {error}.") from error
    faults = list(_faults(stated))
    if faults:
        raise UsageError("\n".join(f"{path}: {fault}" for fault in faults))
    return Profile(**{**stated, "files": tuple(stated["files"])})


def nearest(name: str, known: list[str]) -> str:
    """Return a hint at the known name that was probably meant, or nothing.

    >>> nearest("unti_id", ["unit_id", "ward"]), nearest("xyz", ["ward"])
    (" Did you mean 'unit_id'?", '')
    """
    close = difflib.get_close_matches(name, known, n=1)
    return f" Did you mean '{close[0]}'?" if close else ""


def _faults(stated: dict[str, Any]) -> list[str]:
    known = [item.name for item in fields(Profile)]
    faults = [f"unknown setting '{key}'.{nearest(key, known)}" for key in stated if key not in known]
    files, table, delimiter = stated.get("files"), stated.get("table"), stated.get("delimiter", ",")
    if not isinstance(stated.get("name"), str):
        faults.append("'name' is missing; give the profile a name in quotes.")
    if not isinstance(files, list) or not files or not all(isinstance(item, str) for item in files):
        faults.append("'files' must be a list of file-name patterns such as [\"{table}.csv\"].")
    elif table is None and not all("{table}" in item for item in files):
        faults.append("name the 'table', or write {table} into every pattern of 'files'.")
    if table is not None and table not in TABLES:
        faults.append(f"'table' is {table!r}, which is no input table.{nearest(str(table), list(TABLES))}")
    if (
        not isinstance(delimiter, str)
        or len(delimiter) != 1
        or not delimiter.isascii()
        or delimiter in '"\r\n'
    ):
        faults.append("'delimiter' must be one ASCII character other than a quote or a line end.")
    return faults + _column_faults(stated.get("columns", {}))


def _column_faults(columns: Any) -> list[str]:
    if not isinstance(columns, dict) or not all(isinstance(theirs, str) for theirs in columns.values()):
        return ['[columns] must be a table of names: canonical = "the export\'s own".']
    known = sorted({name for table in TABLES.values() for name in table.names} | {"site_id", "exported_at"})
    return [
        f"[columns] unknown column '{name}'.{nearest(name, known)}" for name in columns if name not in known
    ]
