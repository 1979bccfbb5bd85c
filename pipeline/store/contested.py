"""Which stretches of the large logs may hold one key twice, read off the ledger without opening a file.

Settling costs memory by the row. Exports of a log mostly follow one another, so that there is only anything
to settle where two files tell of one unit at one time.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry, StoredPart

#: First and last instant, both inclusive, as ISO 8601 text.
Stretch = tuple[str, str]


@dataclass(frozen=True)
class Window:
    """What one export replaces of a table and site: all earlier rows in it; all of them without a time."""

    sha256: str
    site_id: str
    exported_at: datetime.datetime | None
    first_at: str | None
    last_at: str | None

    def is_later_than(self, entry: LedgerEntry) -> bool:
        """Say whether it was exported after another file, by the order in which corrections win."""
        mine = (self.exported_at or datetime.datetime.min, self.sha256)
        return mine > (instant(entry.exported_at) or datetime.datetime.min, entry.sha256)


def instant(text: str | None) -> datetime.datetime | None:
    """Return ISO 8601 text as a UTC instant without a zone.

    >>> instant("2026-03-01T01:00:00+01:00")
    datetime.datetime(2026, 3, 1, 0, 0)
    """
    if text is None:
        return None
    read = datetime.datetime.fromisoformat(text)
    return read if read.tzinfo is None else read.astimezone(datetime.UTC).replace(tzinfo=None)


def windows(entries: list[LedgerEntry]) -> list[Window]:
    """Return the windows of a table's entries, one per file and site."""
    found = []
    for entry in (entry for entry in entries if entry.replaces_window):
        for site_id in sorted({part.site_id for part in entry.parts}):
            parts = [part for part in entry.parts if part.site_id == site_id]
            first = min((part.first_at for part in parts if part.first_at), default=None)
            last = max((part.last_at for part in parts if part.last_at), default=None)
            found.append(Window(entry.sha256, site_id, instant(entry.exported_at), first, last))
    return found


def contested(store: Store, entries: list[LedgerEntry]) -> dict[Path, list[Stretch]]:
    """Return the contested stretches of each stored file that has any, for the entries of one log."""
    found: dict[Path, list[Stretch]] = defaultdict(list)
    for find in (_by_itself, _between_files, _by_windows):
        for path, stretch in find(store, entries):
            found[path].append(stretch)
    return {path: _merged(stretches) for path, stretches in sorted(found.items())}


def stored_file(store: Store, part: StoredPart) -> Path:
    """Return the file that holds one part of an entry."""
    return store.root / part.file


def _by_itself(store: Store, entries: list[LedgerEntry]) -> Iterator[tuple[Path, Stretch]]:
    """A file with the source's own numbers, or with one key twice, is settled as a whole."""
    for entry in entries:
        for part in entry.parts:
            if entry.has_source_ref or part.repeats:
                yield stored_file(store, part), _whole(part)


def _between_files(store: Store, entries: list[LedgerEntry]) -> Iterator[tuple[Path, Stretch]]:
    """Two files, or two spellings in one, that tell of one unit at one time."""
    spans: dict[tuple[str, str], list[tuple[str, str, Path]]] = defaultdict(list)
    for entry in entries:
        for part in entry.parts:
            for unit, (first, last) in part.units.items():
                spans[part.site_id, unit.strip().lower()].append((first, last, stored_file(store, part)))
    for of_unit in spans.values():
        running: list[tuple[str, str, Path]] = []
        for first, last, path in sorted(of_unit):
            running = [span for span in running if span[1] >= first]
            for _, other_last, other_path in running:
                yield path, (first, min(last, other_last))
                yield other_path, (first, min(last, other_last))
            running.append((first, last, path))


def _by_windows(store: Store, entries: list[LedgerEntry]) -> Iterator[tuple[Path, Stretch]]:
    for window in windows(entries):
        for entry in (entry for entry in entries if window.is_later_than(entry)):
            for part in (part for part in entry.parts if part.site_id == window.site_id):
                first, last = _whole(part)
                stretch = (max(first, window.first_at or first), min(last, window.last_at or last))
                if stretch[0] <= stretch[1]:
                    yield stored_file(store, part), stretch


def _whole(part: StoredPart) -> Stretch:
    return part.first_at or "", part.last_at or ""


def _merged(stretches: list[Stretch]) -> list[Stretch]:
    """Return the stretches in order, those that touch made one."""
    merged: list[Stretch] = []
    for first, last in sorted(stretches):
        if merged and first <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(last, merged[-1][1]))
        else:
            merged.append((first, last))
    return merged
