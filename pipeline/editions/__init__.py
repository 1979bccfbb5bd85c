"""Closed months: what was published of a month is frozen, and what late data change makes the next edition.

An edition lies in ``editions/<month>/<number>/``: its files under the hash of their content, and ``edition.json``,
written last, which names them. A folder without it is what a killed run left, and counts for nothing.
"""

from __future__ import annotations

import hashlib
import io
import json
import shutil
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl

from pipeline import __version__
from pipeline.editions.compare import changed_values
from pipeline.editions.input_changes import input_changes
from pipeline.editions.month_rows import is_over, month_ends, month_rows
from pipeline.errors import NothingToDo, StorageTrouble, UsageError
from pipeline.exporting import csv_bytes
from pipeline.measures import engine
from pipeline.measures.published import Published
from pipeline.store.kept_rules import kept_text
from pipeline.store.layout import Store, quoted
from pipeline.store.ledger import LedgerEntry
from pipeline.store.parquet import parquet_bytes, write_bytes

_TABLES, _RULES, _PAGES, _CHANGES = "tables/", "rules/", "pages/", "changes.csv"


@dataclass(frozen=True)
class Edition:
    """One frozen month. ``files`` maps each file's name to the SHA-256 that it lies under.

    ``ledger`` are the hashes of the ingested files that it rests on; ``poor_data`` the faults for which the
    quality gate was overridden; ``changes`` how many values differ from the edition before. ``struck_out`` says that
    a patient was taken out of it since (`pipeline.forget_editions`).
    """

    month: str
    number: int
    closed_at: str
    as_of: str
    run_id: str
    program_version: str
    files: dict[str, str]
    ledger: tuple[str, ...]
    poor_data: tuple[str, ...] = ()
    changes: int = 0
    struck_out: bool = False


def require_over(published: Published, month: str, now: datetime) -> None:
    """Raise UsageError for a month that has not ended at every site."""
    if not all(is_over(rules, month, now) for rules in published.sites.values()):
        raise UsageError(f"{month} is not over yet; a month is closed when it has ended at every site.")


def close(
    store: Store,
    published: Published,
    ledger: list[LedgerEntry],
    month: str,
    pages: Mapping[str, bytes],
    poor_data: list[str],
    now: datetime,
) -> Edition:
    """Freeze a month of a store that the caller holds; ``pages`` are the rendered files by name.

    Raises NothingToDo when nothing changed since the last edition.
    """
    rows = month_rows(published, month)
    content = {f"{_TABLES}{table}.parquet": parquet_bytes(frame) for table, frame in rows.items()}
    content |= {
        f"{_RULES}{quoted(site)}.toml": (kept_text(store, site) or "").encode() for site in published.sites
    }
    content |= {f"{_PAGES}{name}": page for name, page in pages.items()}
    earlier = editions(store, month)
    changed = _changes(store, published, ledger, earlier[-1], rows, content) if earlier else None
    if changed is not None:
        if not changed.height:
            raise NothingToDo(f"{month}: nothing has changed since edition {earlier[-1].number}.")
        content[_CHANGES] = csv_bytes(changed)
    edition = Edition(
        month=month,
        number=earlier[-1].number + 1 if earlier else 1,
        closed_at=f"{now.replace(tzinfo=None).isoformat(timespec='seconds')}Z",
        as_of=f"{published.as_of.isoformat()}Z",
        run_id=published.run_id,
        program_version=__version__,
        files={name: hashlib.sha256(payload).hexdigest() for name, payload in sorted(content.items())},
        ledger=tuple(sorted(entry.sha256 for entry in ledger if entry.parts)),
        poor_data=tuple(poor_data),
        changes=0 if changed is None else changed.height,
    )
    folder = _folder(store, month, edition.number)
    shutil.rmtree(folder, ignore_errors=True)  # what a killed run left of it
    for name, payload in content.items():
        write_bytes(folder / edition.files[name], payload)
    write_bytes(folder / "edition.json", json.dumps(asdict(edition), indent=1).encode())
    return edition


def editions(store: Store, month: str | None = None) -> list[Edition]:
    """Return the editions of a month, or of all, in order; raise StorageTrouble for one that is damaged."""
    paths = (store.root / "editions").glob(f"{month or '*'}/*/edition.json")
    return sorted(map(_read, paths), key=lambda edition: (edition.month, edition.number))


def write_out(store: Store, month: str, number: int, to: Path) -> list[Path]:
    """Write an edition's files into a folder, byte for byte as they were closed."""
    found = [edition for edition in editions(store, month) if edition.number == number]
    if not found:
        known = ", ".join(str(edition.number) for edition in editions(store, month)) or "none"
        raise UsageError(f"{month} has no edition {number}. Editions: {known}.")
    for name in found[0].files:
        write_bytes(to / name, content_of(store, found[0], name))
    return [to / name for name in found[0].files]


def content_of(store: Store, edition: Edition, name: str) -> bytes:
    """Return one file of an edition; raise StorageTrouble when it is not what was closed."""
    path = _folder(store, edition.month, edition.number) / edition.files[name]
    try:
        payload = path.read_bytes()
    except OSError as error:
        raise StorageTrouble(
            f"{path}: cannot be read: {error.strerror}; restore it from a backup."
        ) from error
    if hashlib.sha256(payload).hexdigest() != path.name:
        raise StorageTrouble(f"{path}: changed since the month was closed; restore it from a backup.")
    return payload


def _changes(
    store: Store,
    published: Published,
    ledger: list[LedgerEntry],
    last: Edition,
    rows: dict[str, pl.DataFrame],
    content: dict[str, bytes],
) -> pl.DataFrame:
    """Return what differs from the last edition, with the changes of the input behind it."""
    before = {
        name.removeprefix(_TABLES).removesuffix(".parquet"): pl.read_parquet(
            io.BytesIO(content_of(store, last, name))
        )
        for name in last.files
        if name.startswith(_TABLES)
    }
    after = {site: month_ends(rules, last.month)[1] for site, rules in published.sites.items()}
    with TemporaryDirectory(prefix="dewledger-") as scratch:
        connection = engine.connect(store.root, Path(scratch))
        inputs = input_changes(connection, store, ledger, set(last.ledger), after)
        connection.close()
    return changed_values(before, rows, inputs, _otherwise(store, last, content, published))


def _otherwise(store: Store, last: Edition, content: dict[str, bytes], published: Published) -> str:
    """Return the reason for a change that no input explains."""
    rules = {
        name: hashlib.sha256(payload).hexdigest()
        for name, payload in content.items()
        if name.startswith(_RULES)
    }
    if any(last.files.get(name) != sha256 for name, sha256 in rules.items()):
        return "the site's rules changed"
    if last.struck_out:
        return "a patient was forgotten"
    if last.program_version != __version__:
        return f"the program changed from {last.program_version} to {__version__}"
    return f"known only as of {published.as_of.isoformat()}Z"


def _folder(store: Store, month: str, number: int) -> Path:
    return store.root / "editions" / month / str(number)


def _read(path: Path) -> Edition:
    try:
        stated = json.loads(path.read_bytes())
        return Edition(
            **{**stated, "ledger": tuple(stated["ledger"]), "poor_data": tuple(stated["poor_data"])}
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StorageTrouble(f"{path}: damaged; restore the store from a backup.") from error
