"""The ledger: one small JSON file per ingested file, written last. What it does not name does not exist."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import DewledgerError, StorageTrouble
from pipeline.records import TABLES, Table
from pipeline.store.columns import QUARANTINE, good_schema, stored_key
from pipeline.store.layout import Store
from pipeline.store.parquet import parquet_bytes, sha256_of, write_bytes

#: The month of rows whose table has no time.
ALWAYS = "always"

#: The tables that units write by themselves: too large to settle row by row.
LOGS = ("usage_samples", "cycle_temperatures")


@dataclass(frozen=True)
class StoredPart:
    """The rows of one file in one site and UTC month; instants as ISO 8601 text, empty without a time.

    ``file`` is their path in the store.

    For the tables in `LOGS`: ``units`` gives each unit's first and last instant, and ``repeats`` says whether
    some key stands there more than once.
    """

    site_id: str
    month: str
    rows: int
    first_at: str | None = None
    last_at: str | None = None
    units: dict[str, tuple[str, str]] = field(default_factory=dict)
    repeats: bool = False
    file: str = ""


@dataclass(frozen=True, kw_only=True)
class LedgerEntry:
    """What became of one file. Its counts are those of the ingest that read it, less the rows forgotten since,
    and with those that were mended or discarded since in their new place.

    ``repaired`` are the numbers of rows that came in only once they were mended, ``discarded`` the reason by the
    number of each row that was given up; these count as skipped.

    ``forgotten`` is all that is left of these: how many there were. ``parts``, ``files`` (SHA-256 by path in the
    store) and ``has_source_ref`` are filled in by `commit`.
    """

    sha256: str
    name: str
    table: str
    profile: str
    replaces_window: bool = False
    exported_at: str | None = None
    rows_read: int = 0
    accepted: int = 0
    duplicates: int = 0
    skipped: int = 0
    corrected: int = 0
    quarantined: int = 0
    reasons: dict[str, int] = field(default_factory=dict)
    warnings: dict[str, int] = field(default_factory=dict)
    parts: tuple[StoredPart, ...] = ()
    refused: str | None = None
    rules_sha256: str | None = None
    program_version: str = ""
    has_source_ref: bool = False
    forgotten: int = 0
    profile_sha256: str = ""
    repaired: tuple[int, ...] = ()
    discarded: dict[str, str] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse an account that does not add up: a lost row is the one fault nobody would see."""
        told = self.accepted + self.duplicates + self.skipped + self.quarantined
        if self.rows_read != told:
            raise DewledgerError(f"{self.name}: {self.rows_read} rows read, but {told} accounted for.")


def entries(store: Store) -> list[LedgerEntry]:
    """Return all entries in order of table and hash; raise StorageTrouble for one that cannot be read."""
    return sorted(map(read_entry, ledger_files(store)), key=lambda entry: (entry.table, entry.sha256))


def ledger_files(store: Store) -> list[Path]:
    """Return the files of the ledger, in order."""
    return sorted(store.ledger.glob("*.json"))


def commit(store: Store, entry: LedgerEntry, good: pl.DataFrame, quarantined: pl.DataFrame) -> LedgerEntry:
    """Write a file's rows, then its ledger entry, which makes them count; return the entry as written.

    What an earlier entry of the same file named is removed last: until then it stands, and after that the new.

    ``good`` has the columns of `columns.good_schema`, ``quarantined`` those of `columns.QUARANTINE`.
    """
    files: dict[str, str] = {}
    parts: list[StoredPart] = []
    if good.height:
        table = TABLES[entry.table]
        for site_id, month, rows in _by_month(table, good):
            payload = parquet_bytes(rows)
            digest = sha256_of(payload)
            path = store.table_file(table.name, site_id, month, entry.sha256, digest)
            write_bytes(path, payload)
            files[_name(store, path)] = digest
            parts.append(_part(table, site_id, month, rows, _name(store, path)))
    if quarantined.height:
        rows = quarantined.select(QUARANTINE.names()).cast(QUARANTINE).sort("source_row")
        payload = parquet_bytes(rows)
        path = store.quarantine_file(entry.sha256, sha256_of(payload))
        write_bytes(path, payload)
        files[_name(store, path)] = sha256_of(payload)
    with_source_ref = "source_ref" in good.columns and good["source_ref"].null_count() < good.height
    written = replace(entry, parts=tuple(parts), files=files, has_source_ref=with_source_ref)
    path = store.ledger_file(entry.sha256)
    before = read_entry(path).files if path.exists() else {}
    write_bytes(path, _written(written))
    for name in before.keys() - files.keys():
        (store.root / name).unlink(missing_ok=True)
    return written


def quarantine_path(store: Store, entry: LedgerEntry) -> Path | None:
    """Return the file of an entry's quarantined rows, None where it has none."""
    folder = f"{store.quarantine.name}/"
    return next((store.root / name for name in entry.files if name.startswith(folder)), None)


def remove_unnamed(store: Store, known: Collection[LedgerEntry]) -> None:
    """Remove the files of rows that no entry names: what killed runs left. Only the lock's holder may call it."""
    named = {name for entry in known for name in entry.files}
    for path in (*store.tables.rglob("*.parquet"), *store.quarantine.glob("*.parquet")):
        if _name(store, path) not in named:
            path.unlink()


def _name(store: Store, path: Path) -> str:
    return path.relative_to(store.root).as_posix()


def read_entry(path: Path) -> LedgerEntry:
    """Read one entry; raise StorageTrouble when it is damaged, which its own hash tells."""
    try:
        content: dict[str, Any] = json.loads(path.read_bytes())
        stated = content["entry"]
        if _check(stated) != content["check"]:
            raise ValueError("it is not what was written")
        parts = tuple(StoredPart(**{**part, "units": _spans(part["units"])}) for part in stated.pop("parts"))
        return LedgerEntry(**{**stated, "repaired": tuple(stated["repaired"])}, parts=parts)
    except OSError as error:
        raise StorageTrouble(f"{path}: the ledger cannot be read: {error.strerror}.") from error
    except (ValueError, KeyError, TypeError) as error:
        raise StorageTrouble(f"{path}: damaged; remove it and ingest the file again.") from error


def _written(entry: LedgerEntry) -> bytes:
    stated = json.loads(json.dumps(asdict(entry)))
    return json.dumps({"check": _check(stated), "entry": stated}).encode()


def _check(stated: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(stated, sort_keys=True).encode()).hexdigest()


def _by_month(table: Table, good: pl.DataFrame) -> Iterator[tuple[str, str, pl.DataFrame]]:
    """Yield the rows of each site and UTC month, in order; in each, by key and row of the file."""
    schema = good_schema(table)
    if good.schema.get("warnings") == pl.List(pl.String):
        good = good.with_columns(pl.col("warnings").list.join(","))
    rows = good.select(schema.names()).cast(schema)
    month = pl.col(table.time).dt.truncate("1mo") if table.time else pl.lit(None, pl.Date)
    for site_id, start in sorted(rows.select("site_id", month.alias("month")).unique().iter_rows()):
        of_month = rows.filter(pl.col("site_id") == site_id, month.eq_missing(start))
        yield site_id, f"{start:%Y-%m}" if start else ALWAYS, of_month.sort(_key_order(table, of_month))


def _key_order(table: Table, rows: pl.DataFrame) -> list[pl.Expr]:
    """Return what to sort by. The few units of a log are compared by rank: text is slow at a million rows."""
    order = [pl.col(name) for name in (*stored_key(table), "source_row")]
    if table.name in LOGS:
        ranked = pl.Enum(rows["unit_id"].unique().sort())
        order = [pl.col("unit_id").cast(ranked), *order[1:]]
    return order


def _part(table: Table, site_id: str, month: str, rows: pl.DataFrame, file: str) -> StoredPart:
    if table.time is None:
        return StoredPart(site_id, month, rows.height, file=file)
    time = pl.col(table.time)
    first, last = rows.select(_text(time.min()).alias("first"), _text(time.max()).alias("last")).row(0)
    if table.name not in LOGS:
        return StoredPart(site_id, month, rows.height, first, last, file=file)
    spans = rows.group_by("unit_id").agg(
        _text(time.min()).alias("first"),
        _text(time.max()).alias("last"),
        (time.n_unique() < pl.len()).alias("repeats"),
    )
    units = {unit: (first, last) for unit, first, last, _ in sorted(spans.iter_rows())}
    return StoredPart(site_id, month, rows.height, first, last, units, bool(spans["repeats"].any()), file)


def _text(instant: pl.Expr) -> pl.Expr:
    return instant.cast(pl.Datetime("us")).dt.strftime("%Y-%m-%dT%H:%M:%SZ")


def _spans(stated: dict[str, list[str]]) -> dict[str, tuple[str, str]]:
    return {unit: (first, last) for unit, (first, last) in stated.items()}
