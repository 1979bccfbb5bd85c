"""Rows told more than once: duplicates within a file, and against the rows that stand from other files.

Only duplicates within a file are dropped from it. Against other files they are counted and stay: the rows
that stand are settled by key whenever the store is read, so that the order of ingestion never matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipeline.records import Table, stored_name
from pipeline.store.layout import Store
from pipeline.store.ledger import ALWAYS, LOGS, LedgerEntry, StoredPart
from pipeline.store.spelling import identifiers

#: A row's file and place, which settle what the export's own time leaves open.
_FILE = "file_sha256"
_ORDER = ["exported_at", _FILE, "source_row"]


@dataclass(frozen=True)
class Distinct:
    """A file's rows of one site without duplicates among them: how many were ``dropped``, and the source rows
    of those that tell a key again with other values."""

    rows: pl.DataFrame
    dropped: int
    corrections: pl.Series


@dataclass(frozen=True)
class Comparison:
    """The source rows of a file that repeat what already stands, and those that correct it."""

    duplicates: pl.Series
    corrections: pl.Series


def distinct(rows: pl.DataFrame, table: Table) -> Distinct:
    """Drop all but one of the rows with equal key and values: the one exported last, else the first.

    It is spelled as the rows together would be, so that it does not matter whether they stand in one file.
    """
    none = rows["source_row"].clear()
    if not _tells_a_key_twice(rows, table):
        return Distinct(rows, 0, none)
    told = rows.filter(rows.select(_key(rows, table)).is_duplicated())
    told = told.sort("exported_at", descending=True, nulls_last=True, maintain_order=True)
    key, values = _key(told, table), _values(table)
    kept = told.select("source_row", *key, *values)
    kept = kept.unique(kept.columns[1:], keep="first").sort("source_row")
    first = kept.unique(kept.columns[1 : len(key) + 1], keep="first", maintain_order=True)
    dropped = _without(told["source_row"], kept["source_row"])
    alike = rows.update(_spelled_alike(told, table), on="source_row")
    return Distinct(
        alike.filter(~pl.col("source_row").is_in(dropped.implode())),
        len(dropped),
        _without(kept["source_row"], first["source_row"]),
    )


def compare(rows: pl.DataFrame, table: Table, earlier: pl.DataFrame) -> Comparison:
    """Compare a file's rows by key with earlier ones, which have their file (``file_sha256``) too."""
    if earlier.is_empty():
        return Comparison(rows["source_row"].clear(), rows["source_row"].clear())
    key, values = _key(pl.concat([rows, earlier], how="diagonal"), table), _values(table)
    standing = earlier.sort(_ORDER, nulls_last=False).select(*key, *values)
    names, compared = standing.columns[: len(key)], standing.columns[len(key) :]
    standing = standing.unique(names, keep="last", maintain_order=True)
    told = rows.select("source_row", *key, *values)
    met = told.join(standing, on=names, how="inner", nulls_equal=True, suffix=".before")
    alike = pl.all_horizontal(pl.col(name).eq_missing(pl.col(f"{name}.before")) for name in compared)
    return Comparison(met.filter(alike)["source_row"], met.filter(~alike)["source_row"])


def _spelled_alike(told: pl.DataFrame, table: Table) -> pl.DataFrame:
    """Return the rows' identifiers, those of rows with equal key and values in the least of their spellings."""
    compared = [*_key(told, table), *_values(table)]
    names = identifiers(table)
    return told.select("source_row", *(pl.col(name).min().over(compared) for name in names))


def _tells_a_key_twice(rows: pl.DataFrame, table: Table) -> bool:
    """Count the last column of a key within the others: several times faster than comparing whole keys."""
    *grouped, last = _key(rows, table)
    return bool(
        rows.group_by(pl.lit(0), *grouped).agg((last.n_unique() < pl.len()).alias("twice"))["twice"].any()
    )


def _without(source_rows: pl.Series, others: pl.Series) -> pl.Series:
    return source_rows.filter(~source_rows.is_in(others.implode()))


def earlier_rows(store: Store, known: list[LedgerEntry], table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    """Return the stored rows that may share a key with some of ``rows`` (of one site), with their file.

    Of the units' own logs only the parts are read in which one unit's times overlap; the ledger says which.
    """
    near = [(entry, part) for entry in known for part in entry.parts if entry.table == table.name]
    near = [(entry, part) for entry, part in near if rows.height and part.site_id == rows["site_id"][0]]
    if not near:
        return rows.clear()
    months = set(rows.select(_months(table)).to_series())
    spans = _spans(rows, table) if table.name in LOGS else {}
    frames = [
        stored_part(store, part).with_columns(pl.lit(entry.sha256).alias(_FILE))
        for entry, part in near
        if entry.has_source_ref
        or (part.month in months and (table.name not in LOGS or _overlaps(part, spans)))
    ]
    return pl.concat(frames, how="diagonal") if frames else rows.clear()


def stored_part(store: Store, part: StoredPart) -> pl.DataFrame:
    """Return the good rows of one part of a file, as they are stored."""
    return pl.read_parquet(store.root / part.file, hive_partitioning=False)


def _key(rows: pl.DataFrame, table: Table) -> list[pl.Expr]:
    """Return what rows are the same by: the source's own number, or the key's columns where it gives none."""
    parts = {name: _folded(table, name) for name in table.key}
    if table.name == "part_changes":
        parts["patient_ref"] = pl.when(pl.col("unit_id").is_null()).then(parts["patient_ref"])
    if "source_ref" in table.names and rows["source_ref"].null_count() < rows.height:
        parts = {name: pl.when(pl.col("source_ref").is_null()).then(part) for name, part in parts.items()}
        parts["source_ref"] = _folded(table, "source_ref")
    return [part.alias(f"key.{name}") for name, part in parts.items()]


def _values(table: Table) -> list[pl.Expr]:
    names = [column.name for column in table.columns if column.name != "source_ref"]
    return [_folded(table, name).alias(f"value.{name}") for name in names]


def _folded(table: Table, name: str) -> pl.Expr:
    """Return a stored column as it is compared: identifiers without regard to case."""
    column = table.column(name)
    stored = pl.col(stored_name(column))
    return stored.str.to_lowercase() if column.kind == "id" else stored


def _months(table: Table) -> pl.Expr:
    """Return the UTC months of rows as the ledger names them."""
    return (
        pl.col(table.time).dt.truncate("1mo").unique().dt.strftime("%Y-%m") if table.time else pl.lit(ALWAYS)
    )


def _spans(rows: pl.DataFrame, table: Table) -> dict[str, tuple[str, str]]:
    """Return each unit's first and last instant as ISO 8601 text."""
    time = pl.col(table.time or "")
    ends = [
        time.min().dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
        time.max().dt.strftime("%Y-%m-%dT%H:%M:%SZ").alias("last"),
    ]
    found = rows.group_by(pl.col("unit_id").str.to_lowercase()).agg(ends)
    return {unit: (first, last) for unit, first, last in found.iter_rows()}


def _overlaps(part: StoredPart, spans: dict[str, tuple[str, str]]) -> bool:
    return any(
        first <= spans[unit.lower()][1] and spans[unit.lower()][0] <= last
        for unit, (first, last) in part.units.items()
        if unit.lower() in spans
    )
