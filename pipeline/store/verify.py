"""Whether what lies in a store is still what was written."""

from __future__ import annotations

import hashlib
from pathlib import Path

from pipeline.errors import StorageTrouble
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry, ledger_files, read_entry


def verify(store: Store) -> list[str]:
    """Return the faults of the ledger and of the stored rows, one line each; none when all is as written."""
    faults: list[str] = []
    named: set[str] = set()
    for path in ledger_files(store):
        try:
            entry = read_entry(path)
        except StorageTrouble as trouble:
            faults.append(str(trouble))
            continue
        named.update(entry.files)
        faults += _faults_of(store, entry)
    return faults + [
        f"{name}: the ledger does not name it; ingest the file it came from again."
        for name in _files_of_rows(store)
        if name not in named
    ]


def _faults_of(store: Store, entry: LedgerEntry) -> list[str]:
    found = {name: _sha256(store.root / name) for name in entry.files}
    return [
        f"{name}: {'changed since it was written' if found[name] else 'missing'}; restore it from a backup."
        for name, expected in sorted(entry.files.items())
        if found[name] != expected
    ]


def _files_of_rows(store: Store) -> list[str]:
    files = (*store.tables.rglob("*.parquet"), *store.quarantine.glob("*.parquet"))
    return sorted(str(path.relative_to(store.root)) for path in files)


def _sha256(path: Path) -> str | None:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None
