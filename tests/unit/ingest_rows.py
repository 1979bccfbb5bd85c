"""What the tests of ingest share: small exports of the invented Tarnholt hospitals, read into a new store."""

import datetime
import json
from pathlib import Path

import polars as pl

from pipeline.ingest import expectations
from pipeline.ingest.ingest import IngestReport, ingest
from pipeline.ingest.ingest_file import FileResult
from pipeline.ingest.quarantine import listing
from pipeline.store.layout import Store, open_store
from pipeline.store.ledger import entries

RULES = 'site_id = "TARN"\ntime_zone = "Europe/Dublin"\n'
NOW = datetime.datetime(2026, 6, 1, 12, 0, tzinfo=datetime.UTC)


def new_folder(tmp_path: Path, monkeypatch) -> Path:
    """A folder of exports, empty as yet, beside which lie the rules and the store.

    Importing Great Expectations takes seconds, so it is left out; tests/unit/test_expectations.py covers it.
    """
    monkeypatch.setattr(expectations, "start_importing", lambda: None)
    monkeypatch.setattr(expectations, "judge_batch", lambda store, facts: ())
    (tmp_path / "in").mkdir()
    (tmp_path / "site.toml").write_text(RULES)
    return tmp_path / "in"


def store_of(folder: Path) -> Store:
    return open_store(folder.parent / "store", create=True)


def read(folder: Path, *paths: Path, **stated) -> IngestReport:
    stated = {"rules_path": folder.parent / "site.toml", "now": NOW, **stated}
    return ingest(store_of(folder), list(paths) or [folder], **stated)


def read_text(folder: Path, name: str, text: str | bytes, **stated) -> FileResult:
    """Ingest one file of this content; the account of it."""
    (folder / name).write_bytes(text.encode() if isinstance(text, str) else text)
    return read(folder, folder / name, **stated).files[0]


def quarantine_of(folder: Path) -> list[tuple[int, str]]:
    """Every quarantined row's number and reasons."""
    return listing(store_of(folder)).select("source_row", "reasons").rows()


def raw_of(folder: Path) -> list[dict]:
    return [json.loads(raw) for raw in listing(store_of(folder))["raw"]]


def stored(folder: Path, table: str) -> pl.DataFrame:
    """All good rows of a table as stored, in order of site, file and row."""
    store = store_of(folder)
    paths = [
        store.root / path
        for entry in entries(store)
        for path in entry.files
        if entry.table == table and path.startswith("tables/")
    ]
    return pl.concat(pl.read_parquet(path, hive_partitioning=False) for path in paths).sort("source_row")
