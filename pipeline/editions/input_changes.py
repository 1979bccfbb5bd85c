"""What came into a store since an edition: rows that are late, were corrected, or were withdrawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import duckdb
import polars as pl

from pipeline.records import TABLES, Table
from pipeline.store.contested import instant
from pipeline.store.layout import Store
from pipeline.store.ledger import LOGS, LedgerEntry
from pipeline.store.settle import changes, settle

LATE, CORRECTED, WITHDRAWN, LATER = "late", "corrected", "withdrawn", "of a later month"


@dataclass(frozen=True, order=True)
class InputChange:
    """Rows of one file that changed what is known of a table; ``unit_id`` is empty where they name none.

    ``rows`` are their numbers in the file, as text such as ``3, 7-9``, empty for rows that are gone.
    """

    table: str
    site_id: str
    unit_id: str
    kind: str
    file: str
    rows: str

    @property
    def words(self) -> str:
        """The change in a few words."""
        return f"{self.kind}: {self.file}{f' row {self.rows}' if self.rows else ''}"


def input_changes(
    connection: duckdb.DuckDBPyConnection,
    store: Store,
    ledger: list[LedgerEntry],
    known: set[str],
    after: dict[str, datetime],
) -> list[InputChange]:
    """Return what the files that are not in ``known`` changed, in order.

    ``after`` has the end of the edition's month by site: a row that begins from then on is no late one, though
    it may tell what became of an earlier one.
    """
    fresh = {entry.sha256: entry for entry in ledger if entry.sha256 not in known and entry.parts}
    if not fresh:
        return []
    corrected = changes(connection, store).filter(
        pl.col("file").is_in([entry.name for entry in fresh.values()])
    )
    settle(connection, store)
    found = list(_corrections(corrected))
    for table in sorted({entry.table for entry in fresh.values()}):
        of_table = [entry for entry in fresh.values() if entry.table == table]
        find = _late_log if table in LOGS else _late_rows
        found += find(connection, TABLES[table], of_table, corrected, after)
    return sorted(set(found))


def _corrections(corrected: pl.DataFrame) -> Iterator[InputChange]:
    for row in corrected.iter_rows(named=True):
        unit = dict(part.split("=", 1) for part in row["key"].split(", ") if "=" in part).get("unit_id", "")
        kind = WITHDRAWN if row["column"] == "*" else CORRECTED
        number = "" if row["source_row"] is None else str(row["source_row"])
        yield InputChange(row["table"], row["site_id"], unit, kind, row["file"], number)


def _late_rows(
    connection: duckdb.DuckDBPyConnection,
    table: Table,
    files: list[LedgerEntry],
    corrected: pl.DataFrame,
    after: dict[str, datetime],
) -> Iterator[InputChange]:
    """Yield the rows that stand now and came with new files, but for those that correct others."""
    unit = "unit_id" if "unit_id" in table.names else "null"
    time = f"cast({table.time} as timestamp)" if table.time else "null"
    names = {entry.sha256: entry.name for entry in files}
    rows = connection.execute(
        f"select site_id, coalesce({unit}, '') as unit_id, {time} as began_at, file_sha256, source_row"
        f" from settled.{table.name} where file_sha256 in (select unnest(?)) order by all",
        [list(names)],
    ).fetchall()
    known = set(corrected.filter(table=table.name).select("file", "source_row").iter_rows())
    grouped: dict[tuple[str, str, str, str], list[int]] = {}
    for site, unit_id, began_at, sha256, number in rows:
        if (names[sha256], number) not in known:
            kind = LATER if began_at and began_at >= after.get(site, datetime.max) else LATE
            grouped.setdefault((site, unit_id, kind, names[sha256]), []).append(number)
    for (site, unit_id, kind, name), numbers in grouped.items():
        yield InputChange(table.name, site, unit_id, kind, name, ranges(numbers))


def _late_log(
    _: duckdb.DuckDBPyConnection,
    table: Table,
    files: list[LedgerEntry],
    __: pl.DataFrame,
    after: dict[str, datetime],
) -> Iterator[InputChange]:
    """Yield a log's new files by unit; its millions of rows are not read for this."""
    for entry in files:
        for part in entry.parts:
            for unit_id, (first, _last) in part.units.items():
                began_at = instant(first)
                later = began_at is not None and began_at >= after.get(part.site_id, datetime.max)
                yield InputChange(table.name, part.site_id, unit_id, LATER if later else LATE, entry.name, "")


def ranges(numbers: list[int]) -> str:
    """Return row numbers as text, those that follow one another as a range.

    >>> ranges([3, 9, 7, 8])
    '3, 7-9'
    """
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in runs)
