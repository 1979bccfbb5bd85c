"""The rows that were not accepted: kept with their place, their reasons and what the file said."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass

import polars as pl

from pipeline.errors import NothingToDo
from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.profiles import column_of, part_of
from pipeline.ingest.read_files import Export
from pipeline.records import Table
from pipeline.store.columns import QUARANTINE
from pipeline.store.keys import patient_keys, seal
from pipeline.store.layout import Store
from pipeline.store.ledger import entries, quarantine_path

#: The reasons beyond those of a row's values: its fields cannot be told apart, or are the columns' names.
WRONG_FIELD_COUNT = "wrong_field_count"
REPEATED_HEADER = "repeated_header"
_NORMALISED = ".normalised"
_LISTED = ["table", "file_name", "sha256", "sheet", "source_row", "reasons", "faults", "raw"]
_ORDER = ["table", "file_name", "sha256", "source_row"]


@dataclass(frozen=True)
class Hiding:
    """What hides the patient references of one site: the store's key and the site's name."""

    key: bytes
    site_id: str


def quarantined_rows(
    raw: pl.DataFrame, kept_out: pl.DataFrame, export: Export, table: Table, hiding: Hiding
) -> pl.DataFrame:
    """Return rows for the quarantine (``QUARANTINE``), in which patient references stand as their key.

    ``raw`` holds declared fields as the file has them; ``kept_out`` the ``source_row``, ``reasons`` and
    ``faults`` of the rows that are kept out, and their patient references as the profile has them normalised.
    """
    patients = [c.name for c in table.columns if c.kind == "patient" and c.name in kept_out.columns]
    said = raw.join(kept_out, on=SOURCE_ROW, how="inner", maintain_order="left", suffix=_NORMALISED)
    declared = [name for name in raw.columns if name != SOURCE_ROW]
    sites = pl.repeat(hiding.site_id, said.height, dtype=pl.String, eager=True)
    keys = [
        patient_keys(hiding.key, sites, _filled(said[name + _NORMALISED])).alias(name) for name in patients
    ]
    sealed = pl.Series("sealed", _sealed(said, patients, hiding.key), dtype=pl.Binary)
    shown = said.with_columns(keys).select(pl.struct(declared).struct.json_encode().alias("raw"))
    return _placed(said, export).with_columns(shown["raw"], sealed).select(QUARANTINE.names())


def torn_rows(ragged: pl.DataFrame, export: Export, table: Table) -> pl.DataFrame:
    """Return rows with the wrong number of fields for the quarantine.

    Nothing of what they say is kept: a field out of place may be a patient reference or an undeclared column.
    """
    is_short = pl.col("fields") <= max(_required_places(export, table), default=-1)
    reasons = (
        pl.when(is_short)
        .then(pl.lit(f"missing_value,{WRONG_FIELD_COUNT}"))
        .otherwise(pl.lit(WRONG_FIELD_COUNT))
    )
    expected = pl.lit(export.header.width, pl.Int64).alias("fields_expected")
    raw = pl.struct(pl.col("fields").alias("fields_found"), expected).struct.json_encode()
    return _without_values(ragged.with_columns(raw.alias("raw")), reasons, export)


def header_rows(rows: pl.DataFrame, export: Export) -> pl.DataFrame:
    """Return rows that say the header again for the quarantine."""
    return _without_values(rows.with_columns(pl.lit("{}").alias("raw")), pl.lit(REPEATED_HEADER), export)


def _without_values(rows: pl.DataFrame, reasons: pl.Expr, export: Export) -> pl.DataFrame:
    told = rows.with_columns(
        reasons.alias("reasons"), reasons.alias("faults"), pl.lit(None, pl.Binary).alias("sealed")
    )
    return _placed(told, export).select(QUARANTINE.names())


def _required_places(export: Export, table: Table) -> list[int]:
    places = export.header.positions.items()
    return [place for name, place in places if column_of(table, part_of(name)).required]


def listing(store: Store) -> pl.DataFrame:
    """Return every quarantined row that the ledger names, in order of table, file name, hash and row."""
    files = [path for entry in entries(store) if (path := quarantine_path(store, entry))]
    schema = {name: QUARANTINE[name] for name in _LISTED}
    found = [pl.read_parquet(path, columns=_LISTED, hive_partitioning=False) for path in files]
    return pl.concat([pl.DataFrame(schema=schema), *found]).sort(_ORDER)


def of_file(
    rows: pl.DataFrame, file_name: str | None, table: str | None = None, numbers: Collection[int] = ()
) -> pl.DataFrame:
    """Return those rows of a listing that are of one file (its name or hash), one table, or so numbered.

    Raises NothingToDo when there are none.
    """
    kept = rows
    if file_name:
        kept = kept.filter((pl.col("file_name") == file_name) | pl.col("sha256").str.starts_with(file_name))
    if table:
        kept = kept.filter(pl.col("table") == table)
    if numbers:
        kept = kept.filter(pl.col(SOURCE_ROW).is_in(list(numbers)))
    asked = [file_name, table, *map(str, numbers)]
    if kept.is_empty() and any(asked):
        named = ", ".join(part for part in asked if part)
        raise NothingToDo(f"No row in quarantine fits {named}; 'dewledger quarantine list' shows all.")
    return kept


def _placed(rows: pl.DataFrame, export: Export) -> pl.DataFrame:
    return rows.with_columns(
        pl.lit(export.table).alias("table"),
        pl.lit(export.name).alias("file_name"),
        pl.lit(export.sha256).alias("sha256"),
        pl.lit(export.profile.sheet, pl.String).alias("sheet"),
    )


def _filled(references: pl.Series) -> pl.Series:
    """Return the references trimmed; those of nothing but spaces are none."""
    return references.str.strip_chars().replace("", None)


def _sealed(said: pl.DataFrame, patients: list[str], key: bytes) -> list[bytes | None]:
    rows = ({name: row[name] for name in patients if row[name]} for row in said.iter_rows(named=True))
    return [seal(key, json.dumps(row, ensure_ascii=False).encode()) if row else None for row in rows]
