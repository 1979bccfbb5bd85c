"""What later exports changed of the rows of earlier ones, in plain words."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter
from pathlib import Path

from pipeline.measures.engine import connect
from pipeline.store.layout import Store
from pipeline.store.settle import changes

#: Stands for the column of a row that a later export of its window left out.
WITHDRAWN = "*"


@dataclass(frozen=True)
class Correction:
    """One value that a later row changed, or a row that a later export withdrew; ``source_row`` is empty then.

    ``old`` and ``new`` are as text, empty where a value is; instants are in UTC.
    """

    table: str
    site_id: str
    key: str
    column: str
    old: str | None
    new: str | None
    file: str
    source_row: int | None


def corrections(store: Store) -> tuple[Correction, ...]:
    """Return every change, by table, site and row, in the order in which the exports count."""
    with tempfile.TemporaryDirectory(prefix="dewledger-") as scratch:
        connection = connect(store.root, Path(scratch))
        found = changes(connection, store)
        connection.close()
    return tuple(Correction(**row) for row in found.iter_rows(named=True))


def in_words(found: tuple[Correction, ...]) -> list[str]:
    """Return one sentence for each row that was changed or withdrawn.

    >>> moved = Correction("units", "TARN", "unit_id=7", "ward", None, "Alder", "units_2.csv", 3)
    >>> in_words((moved,))
    ['units at TARN, unit_id=7: ward was empty and is Alder (units_2.csv, row 3).']
    """
    same_row = attrgetter("table", "site_id", "key", "file", "source_row")
    return [_sentence(list(rows)) for _, rows in groupby(found, key=same_row)]


def _sentence(rows: list[Correction]) -> str:
    first = rows[0]
    if first.column == WITHDRAWN:
        told = f"withdrawn, for a later export of its time leaves it out ({first.file})"
    else:
        values = ", ".join(
            f"{row.column} was {row.old or 'empty'} and is {row.new or 'empty'}" for row in rows
        )
        told = f"{values} ({first.file}, row {first.source_row})"
    return f"{first.table} at {first.site_id}, {first.key}: {told}."
