"""What a store holds: rows by source and month, what is missing, who is writing, and how the gate judges."""

from __future__ import annotations

import fcntl
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from pipeline.errors import NothingToDo
from pipeline.freshness import QuietSource, quiet_sources
from pipeline.measures.published import Published, published
from pipeline.quality_gate import accepted_rows, missing_tables, verdicts
from pipeline.site_rules import SiteRules
from pipeline.store.kept_rules import rules_of
from pipeline.store.layout import Store
from pipeline.store.ledger import ALWAYS, LedgerEntry, entries


@dataclass(frozen=True)
class SourceMonth:
    """One table of a site in one local month; coverage is None before anything was measured."""

    site_id: str
    table: str
    month: str
    rows: int
    covered: bool | None
    declared: bool | None
    missing: bool | None


@dataclass(frozen=True)
class Source:
    """One table of a site: all its rows, the first and last of them in time, and its months in order."""

    site_id: str
    table: str
    rows: int
    files: int
    first_at: str | None
    last_at: str | None
    months: tuple[SourceMonth, ...]


@dataclass(frozen=True)
class Status:
    """The state of a store. ``gate`` has each month's faults; ``as_of`` and ``run_id`` are of the results."""

    sources: tuple[Source, ...]
    last_ingest_at: str | None
    holder: str | None
    as_of: datetime | None
    run_id: str | None
    gate: dict[str, list[str]]
    quiet: tuple[QuietSource, ...]


def status(store: Store, now: datetime) -> Status:
    """Return the state of a store at an instant (naive UTC); raise NothingToDo when it holds no file."""
    ledger = entries(store)
    if not any(entry.parts for entry in ledger):
        raise NothingToDo("The store holds no rows yet; ingest some exports first.")
    results = _results(store)
    sources = tuple(_sources(store, ledger, results))
    months = sorted({item.month for source in sources for item in source.months} - {ALWAYS})
    return Status(
        sources=sources,
        last_ingest_at=_last_ingest(store),
        holder=_holder(store),
        as_of=results.as_of if results else None,
        run_id=results.run_id if results else None,
        gate=verdicts(store, results, ledger, months) if results else {},
        quiet=quiet_sources(results, now) if results else (),
    )


def _results(store: Store) -> Published | None:
    try:
        return published(store)
    except NothingToDo:
        return None


def _sources(store: Store, ledger: list[LedgerEntry], results: Published | None) -> Iterator[Source]:
    for site in sorted({part.site_id for entry in ledger for part in entry.parts}):
        months = _months(site, ledger, rules_of(store, site), results)
        for table in sorted({item.table for item in months}):
            files = [
                [part for part in entry.parts if part.site_id == site]
                for entry in ledger
                if entry.table == table and any(part.site_id == site for part in entry.parts)
            ]
            parts = [part for file in files for part in file]
            yield Source(
                site_id=site,
                table=table,
                rows=sum(part.rows for part in parts),
                files=len(files),
                first_at=min((part.first_at for part in parts if part.first_at), default=None),
                last_at=max((part.last_at for part in parts if part.last_at), default=None),
                months=tuple(item for item in months if item.table == table),
            )


def _months(
    site: str, ledger: list[LedgerEntry], rules: SiteRules, results: Published | None
) -> list[SourceMonth]:
    """Return a site's tables by month: those with rows, those covered without, and those missing."""
    accepted = accepted_rows(ledger, site, rules.zone)
    every = sorted({month for _, month in accepted} - {ALWAYS})
    covered: dict[tuple[str, str], bool] = {}
    missing: set[tuple[str, str]] = set()
    if results and site in results.sites:
        rows = results.read("covered_months").filter(site_id=site)
        covered = {
            (table, month): declared
            for table, month, declared in rows.select("table_name", "month", "declared").iter_rows()
        }
        missing = {
            (table, month)
            for month in every
            for table, _, _ in missing_tables(results, accepted, site, month)
        }
    return [
        SourceMonth(
            site_id=site,
            table=table,
            month=month,
            rows=accepted[table, month],
            covered=(table, month) in covered if results else None,
            declared=covered.get((table, month), False) if results else None,
            missing=(table, month) in missing if results else None,
        )
        for table, month in sorted({*accepted, *covered, *missing})
    ]


def _last_ingest(store: Store) -> str | None:
    """Return when files were last ingested, as the audit has it."""
    if not store.audit.exists():
        return None
    lines = (json.loads(line) for line in store.audit.read_text("utf-8").splitlines() if line.endswith("}"))
    return max((line["at"] for line in lines if line["command"] == "ingest"), default=None)


def _holder(store: Store) -> str | None:
    """Say which run holds the store, None when it is free; the look itself leaves nothing behind."""
    try:
        with store.lock.open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except FileNotFoundError:
        return None
    except BlockingIOError:
        try:
            note = json.loads(store.lock_holder.read_bytes())
            return f"process {int(note['pid'])} since {note['since']}"
        except (OSError, ValueError, KeyError, TypeError):
            return "a run that has just started"
    return None
