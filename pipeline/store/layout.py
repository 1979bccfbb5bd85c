"""Where everything lies in a store, and what makes a folder one."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from pipeline.errors import NothingToDo, StorageTrouble, UsageError
from pipeline.store.parquet import TEMPORARY, write_bytes

#: Names the rules of all sites: as part of a path no site's own name comes out like this.
ALL_SITES = "@all"

#: Version of the layout; a program reads its own and all earlier ones.
FORMAT = 1


@dataclass(frozen=True)
class Store:
    """A store's folder (an absolute path) and the places in it."""

    root: Path

    @property
    def marker(self) -> Path:
        """Says that this folder is a store, and of which layout."""
        return self.root / "store.json"

    @property
    def key_file(self) -> Path:
        """The key lies beside the store, never in it: a copied store gives nothing away."""
        return self.root.with_name(f"{self.root.name}.key")

    @property
    def key_check(self) -> Path:
        """Tells the right key from a wrong one."""
        return self.root / "key_check"

    @property
    def reidentify(self) -> Path:
        """The encrypted patient references."""
        return self.root / "reidentify"

    @property
    def audit(self) -> Path:
        """The chained record of what was done."""
        return self.root / "audit.jsonl"

    @property
    def audit_head(self) -> Path:
        """Number and hash of the last line of the audit."""
        return self.root / "audit.head"

    @property
    def lock(self) -> Path:
        """Held by the one run that writes."""
        return self.root / "lock"

    @property
    def lock_holder(self) -> Path:
        """Who holds the lock, for the message to others."""
        return self.root / "lock.holder"

    @property
    def ledger(self) -> Path:
        """One small JSON file per ingested file: only what stands here counts."""
        return self.root / "ledger"

    @property
    def tables(self) -> Path:
        """The good rows."""
        return self.root / "tables"

    @property
    def rules(self) -> Path:
        """The rules kept for each site."""
        return self.root / "rules"

    @property
    def measures(self) -> Path:
        """Published results."""
        return self.root / "measures"

    @property
    def forgetting(self) -> Path:
        """Which patient is being removed, for as long as that goes on."""
        return self.root / "forgetting.json"

    def ledger_file(self, sha256: str) -> Path:
        """The ledger's entry of the file with that hash."""
        return self.ledger / f"{sha256}.json"

    def table_file(self, table: str, site_id: str, month: str, sha256: str, digest: str) -> Path:
        """The good rows of one file in one month (``2026-10``, or ``always``) of one site.

        Named by the file's hash and its own ``digest``: what is read anew never takes the place of what stands.
        """
        folder = self.tables / table / f"site_id={quoted(site_id)}" / f"month={month}"
        return folder / f"{sha256}-{digest[:16]}.parquet"

    @property
    def quarantine(self) -> Path:
        """The rows that were not accepted."""
        return self.root / "quarantine"

    def quarantine_file(self, sha256: str, digest: str) -> Path:
        """The rows of one file that were not accepted, named as those that were."""
        return self.quarantine / f"{sha256}-{digest[:16]}.parquet"

    def validation_file(self, sha256: str) -> Path:
        """What validation found in one file."""
        return self.root / "validation" / f"{sha256}.json"

    def profile_file(self, fingerprint: str) -> Path:
        """A profile that some file was read by, kept for the rows of it that are mended later."""
        return self.root / "profiles" / f"{fingerprint}.json"

    def rules_file(self, site_id: str | None) -> Path:
        """The rules kept for one site; of no site, those for the sites that have none of their own."""
        return self.rules / f"{quoted(site_id) if site_id else ALL_SITES}.toml"


def quoted(name: str) -> str:
    """Return a name as part of a path: nothing in it can leave the folder.

    >>> quoted("Ward 3/../x"), quoted("TARN")
    ('Ward%203%2F..%2Fx', 'TARN')
    """
    return quote(name, safe="")


def open_store(path: Path, create: bool) -> Store:
    """Open a store, or make one of a missing or empty folder.

    Raises UsageError for a missing folder or one that holds something else, NothingToDo for an empty one,
    StorageTrouble for one that cannot be read or, when it is to be created, written.
    """
    store = Store(Path(os.path.abspath(path)))
    if store.root.exists() and not store.root.is_dir():
        raise UsageError(f"{path}: this is a file; a store is a folder.")
    if not create:
        _check_filled(store, path)
    elif not store.marker.exists():
        if _contents(store.root):
            raise UsageError(f"{path}: this folder holds other files; name a store, or a new folder.")
        write_bytes(store.marker, f'{{"format": {FORMAT}}}\n'.encode())
    if create and not os.access(store.root, os.W_OK):
        raise StorageTrouble(f"{path}: the store is read-only; ask for the right to write there.")
    _check_format(store, path)
    return store


def _check_filled(store: Store, path: Path) -> None:
    if not store.root.exists():
        raise UsageError(f"{path}: there is no such store; name the folder that 'dewledger ingest' filled.")
    if store.marker.exists():
        return
    if _contents(store.root):
        raise UsageError(f"{path}: this folder is no store; name the folder that 'dewledger ingest' filled.")
    raise NothingToDo(f"{path}: the folder is empty; fill it with 'dewledger ingest' first.")


def _contents(root: Path) -> list[str]:
    try:
        return [name for name in os.listdir(root) if not name.endswith(TEMPORARY)] if root.exists() else []
    except OSError as error:
        raise StorageTrouble(f"{root}: cannot be read: {error.strerror}.") from error


def _check_format(store: Store, path: Path) -> None:
    try:
        found = json.loads(store.marker.read_bytes())["format"]
    except OSError as error:
        raise StorageTrouble(f"{path}: the store cannot be read: {error.strerror}.") from error
    except (ValueError, KeyError, TypeError) as error:
        raise StorageTrouble(f"{store.marker}: damaged; restore the store from a backup.") from error
    if found != FORMAT:
        raise UsageError(f"{path}: the store has layout {found}, not {FORMAT}; update the program.")
