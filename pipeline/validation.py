"""What the expectations said of the files in a store, as the report shows it."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import StorageTrouble
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry


@dataclass(frozen=True)
class Validation:
    """How the files of one table met one expectation at the latest ingest that could judge it.

    ``observed`` is the number that decided, between ``least`` and ``most`` where it is met; ``files`` is how
    many files of the table were judged together, ``sites`` those that sent them.
    """

    sites: tuple[str, ...]
    table: str
    expectation: str
    meaning: str
    success: bool
    observed: float
    least: float | None
    most: float | None
    files: int


def validations(store: Store, ledger: list[LedgerEntry]) -> list[Validation]:
    """Return the judgements that stand, in order of sites, table and expectation.

    Of several ingests that judged a table of the same sites, the one that stands is the one whose files of
    that table reach furthest in time; of those alike, the one with the larger name. Files that the ledger
    does not name are left out. Raises StorageTrouble for a judgement that cannot be read.
    """
    named = {entry.sha256: entry for entry in ledger if not entry.refused}
    standing: dict[tuple[tuple[str, ...], str, str], Validation] = {}
    found = [
        item for path in sorted((store.root / "validation").glob("*.json")) for item in _judged(path, named)
    ]
    for _, judged in sorted(found, key=lambda item: item[0]):
        standing[judged.sites, judged.table, judged.expectation] = judged
    return [standing[key] for key in sorted(standing)]


def _judged(path: Path, named: dict[str, LedgerEntry]) -> list[tuple[str, Validation]]:
    """Return one ingest's judgements, each with the latest instant of the files it rests on."""
    try:
        kept: dict[str, Any] = json.loads(path.read_bytes())
        files = [named[sha256] for sha256 in kept["files"] if sha256 in named]
        tables = Counter(entry.table for entry in files)
        return [
            (
                _reach(files, stated["table"]),
                Validation(_sites(files, stated["table"]), **stated, files=count),
            )
            for stated in kept["expectations"]
            if (count := tables[stated["table"]])
        ]
    except OSError as error:
        raise StorageTrouble(f"{path}: cannot be read: {error.strerror}.") from error
    except (ValueError, KeyError, TypeError) as error:
        raise StorageTrouble(f"{path}: damaged; delete it and ingest its files again.") from error


def _sites(files: list[LedgerEntry], table: str) -> tuple[str, ...]:
    return tuple(sorted({part.site_id for entry in files if entry.table == table for part in entry.parts}))


def _reach(files: list[LedgerEntry], table: str) -> str:
    """Return the latest instant, as ISO 8601 text, of the files' rows; empty for a table without times."""
    ends = [part.last_at or "" for entry in files if entry.table == table for part in entry.parts]
    return max(ends, default="")
