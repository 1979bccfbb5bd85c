"""Ingest: every file read, judged, accounted for and committed to the store, one after the other."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from pipeline.ingest import expectations
from pipeline.ingest.find_exports import find_exports
from pipeline.ingest.ingest_file import FileResult, Run, ingest_file
from pipeline.ingest.profiles import load_profiles
from pipeline.ingest.sites import settle_sites
from pipeline.store.keys import load_key
from pipeline.store.layout import Store
from pipeline.store.ledger import entries, remove_unnamed

#: Called with a file's name, its rows, and the bytes done of all.
Progress = Callable[[str, int, int, int], None]


def _size(path: Path) -> int:
    """Return a file's bytes; of one that has gone since it was found, 0."""
    try:
        return path.stat().st_size
    except OSError:
        return 0


@dataclass(frozen=True)
class IngestReport:
    """The result of one ingest, file by file, and the judgement of the new files as wholes.

    ``passed_over`` are the names of files in folders that fit no table.
    """

    files: tuple[FileResult, ...]
    passed_over: tuple[str, ...]
    expectations: tuple[expectations.Outcome, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain values for a JSON document."""
        return asdict(self)


def open_run(store: Store, site: str | None, rules_path: Path | None, now: datetime.datetime) -> Run:
    """Bring together what all files of one run share, in a store whose lock the caller holds."""
    known = entries(store)
    remove_unnamed(store, known)
    sites = settle_sites(store, site, rules_path, known)
    now = now.astimezone(datetime.UTC).replace(tzinfo=None) if now.tzinfo else now
    return Run(store, load_key(store, create=True), sites, now, known, [])


def _silent(name: str, rows: int, done: int, total: int) -> None:
    """Show no progress."""


def ingest(
    store: Store,
    paths: Sequence[Path],
    *,
    site: str | None = None,
    rules_path: Path | None = None,
    profile_path: Path | None = None,
    now: datetime.datetime,
    progress: Progress = _silent,
) -> IngestReport:
    """Read files and folders into a store whose lock the caller holds; ``now`` is the time of the ingest.

    A file that cannot be read as its table is refused and the others go on; the errors of `load_profiles`,
    `find_exports`, `settle_sites` and `load_key` stop the whole before anything is read.
    """
    found = find_exports(paths, load_profiles(profile_path), store.root)
    run = open_run(store, site, rules_path, now)
    sizes = [_size(path) for path, _, _ in found.files]
    results: list[FileResult] = []
    for place, (path, profile, table) in enumerate(found.files):
        progress(path.name, 0, sum(sizes[:place]), sum(sizes))
        results.append(ingest_file(run, path, profile, table))
        progress(path.name, results[-1].rows_read, sum(sizes[: place + 1]), sum(sizes))
    return IngestReport(tuple(results), found.passed_over, expectations.judge_batch(store, run.facts))
