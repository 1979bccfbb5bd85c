"""One file: read, judged, held against the store, accounted for, committed."""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

import pipeline
from pipeline.errors import RefusedFile
from pipeline.ingest import expectations
from pipeline.ingest.facts import FileFacts, measure
from pipeline.ingest.mended import as_mended_before
from pipeline.ingest.notes import notes_on
from pipeline.ingest.profiles import Profile, profile_text
from pipeline.ingest.read_files import Export, fingerprint, open_export, read_content
from pipeline.ingest.repeats import Distinct, compare, earlier_rows, stored_part
from pipeline.ingest.sites import Sites
from pipeline.ingest.sort_rows import Judging, Sorted, sort_rows
from pipeline.records import TABLES, Table
from pipeline.store.columns import good_schema
from pipeline.store.keys import remember
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry, commit
from pipeline.store.parquet import write_bytes

_UNKNOWN_UNIT = "unknown_unit"


@dataclass(frozen=True)
class FileResult:
    """What became of one file: the account of contract section 9, and why it was refused, if it was.

    ``known``: the store had it already, so that all its rows are duplicates now. ``notes`` say in plain words
    what else there is to know of it, such as what a spreadsheet did to it.
    """

    name: str
    sha256: str
    table: str
    rows_read: int
    accepted: int
    duplicates: int
    skipped: int
    corrected: int
    quarantined: int
    reasons: dict[str, int]
    warnings: dict[str, int]
    refused: str | None = None
    known: bool = False
    undeclared_columns: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Run:
    """What all files of one ingest share; ``known`` and ``facts`` grow with every file that is committed.

    A rehearsal is for its findings only: ``warned`` gathers the rows that were accepted with a warning.
    """

    store: Store
    key: bytes
    sites: Sites
    now: datetime.datetime
    known: list[LedgerEntry]
    facts: list[FileFacts]
    warned: list[pl.DataFrame] | None = None


@dataclass(frozen=True)
class Account:
    """What a file's good rows are, held against the store; ``fresh`` are those that are no duplicates."""

    fresh: pl.DataFrame
    duplicates: int = 0
    corrected: int = 0
    warnings: Counter[str] = field(default_factory=Counter)


def ingest_file(run: Run, path: Path, profile: Profile, table_name: str | None) -> FileResult:
    """Read one file into the store, or say why it is refused; that stands in the ledger too."""
    sha256 = ""
    try:
        content = read_content(path)
        sha256 = fingerprint(content)
        if table_name is None:
            raise RefusedFile(f"its name fits no table; name it like {', '.join(profile.files)}")
        return _ingest_content(run, path.name, sha256, content, TABLES[table_name], profile)
    except RefusedFile as refusal:
        entry = replace(_entry(profile, path.name, sha256, table_name or ""), refused=str(refusal))
        if sha256 and not _before(run, sha256):
            commit(run.store, entry, pl.DataFrame(), pl.DataFrame())
        return _result(entry)


def _ingest_content(
    run: Run, name: str, sha256: str, content: bytes, table: Table, profile: Profile
) -> FileResult:
    before = _before(run, sha256)
    reading = before and run.sites.reading(profile, _sites_of(before))
    if before and before.table == table.name and before.rules_sha256 == reading:
        return _known_result(before, name)
    if run.warned is None:
        expectations.start_importing()
    export = open_export(name, sha256, content, table, profile)
    told = sort_rows(Judging(export, table, run.sites, run.key, run.now, run.warned is not None))
    if before:
        _require_same_place(before, table, told)
        told = as_mended_before(run.store, before, told, table)
    # A file that is read again, under other rules, is not held against itself.
    others = [entry for entry in run.known if entry is not before]
    entry, accounts = _accounted(replace(run, known=others), export, table, told)
    if before:
        entry = replace(entry, repaired=before.repaired, discarded=before.discarded)
    remember(run.store, run.key, told.references)
    _keep_profile(run.store, profile)
    committed = commit(
        run.store, entry, _all_rows(table, [kept.rows for kept in told.good.values()]), told.quarantined
    )
    run.known[:] = [*others, committed]
    fresh = _all_rows(table, [account.fresh for account in accounts])
    run.facts.append(measure(table, committed, fresh, run.now))
    if run.warned is not None:
        run.warned.append(told.warned)
    notes = notes_on(export, table, told, lambda site_id: _listed_units(run, table, site_id))
    return replace(_result(committed), undeclared_columns=export.header.undeclared, notes=tuple(notes))


def _keep_profile(store: Store, profile: Profile) -> None:
    path = store.profile_file(profile.fingerprint)
    if not path.exists():
        write_bytes(path, profile_text(profile))


def _before(run: Run, sha256: str) -> LedgerEntry | None:
    return next((entry for entry in run.known if entry.sha256 == sha256 and not entry.refused), None)


def _sites_of(entry: LedgerEntry) -> list[str]:
    return sorted({part.site_id for part in entry.parts})


def _require_same_place(before: LedgerEntry, table: Table, told: Sorted) -> None:
    """A file is known by its content: a second site's identical file would take the first one's place."""
    sites, earlier = list(told.good), _sites_of(before)
    if before.table != table.name or (sites and earlier and sites != earlier):
        owner = ", ".join(earlier) or "no site"
        raise RefusedFile(f"the store holds this very content already: table {before.table}, site {owner}")


def _accounted(run: Run, export: Export, table: Table, told: Sorted) -> tuple[LedgerEntry, list[Account]]:
    """Return the file's ledger entry; that every row read is accounted for, the entry checks itself."""
    accounts = [held_against_store(run, table, site_id, kept) for site_id, kept in told.good.items()]
    entry = replace(
        _entry(export.profile, export.name, export.sha256, table.name),
        exported_at=f"{told.exported_at.isoformat()}Z" if told.exported_at else None,
        rows_read=told.read,
        accepted=sum(account.fresh.height for account in accounts),
        duplicates=sum(account.duplicates for account in accounts),
        skipped=told.skipped,
        corrected=sum(account.corrected for account in accounts),
        quarantined=told.quarantined.height,
        reasons=counts(told.quarantined["reasons"]),
        warnings=dict(sorted(sum((account.warnings for account in accounts), Counter()).items())),
        rules_sha256=run.sites.reading(export.profile, list(told.good)),
    )
    return entry, accounts


def held_against_store(run: Run, table: Table, site_id: str, kept: Distinct) -> Account:
    """Count which rows of one site repeat or correct what stands from other files, and their warnings."""
    rows = kept.rows
    met = compare(rows, table, earlier_rows(run.store, run.known, table, rows))
    if len(met.duplicates):
        rows = rows.filter(~pl.col("source_row").is_in(met.duplicates.implode()))
    warnings = Counter(counts(rows["warnings"]))
    if unknown := _unknown_units(run, table, site_id, rows):
        warnings[_UNKNOWN_UNIT] = unknown
    corrected = set(kept.corrections) | set(met.corrections)
    return Account(rows, kept.dropped + len(met.duplicates), len(corrected - set(met.duplicates)), warnings)


def _unknown_units(run: Run, table: Table, site_id: str, rows: pl.DataFrame) -> int:
    """Count the rows of units that the site's own list does not have; without a list nothing is unknown."""
    listed = _listed_units(run, table, site_id)
    if listed is None:
        return 0
    return int((~rows["unit_id"].drop_nulls().str.to_lowercase().is_in(listed.implode())).sum())


def _listed_units(run: Run, table: Table, site_id: str) -> pl.Series | None:
    """Return a site's own list of units in lower case, None where it has none or the table names no units."""
    if table.name == "units" or "unit_id" not in table.names:
        return None
    lists = [
        stored_part(run.store, part)["unit_id"]
        for entry in run.known
        if entry.table == "units"
        for part in entry.parts
        if part.site_id == site_id
    ]
    return pl.concat(lists).str.to_lowercase() if lists else None


def counts(joined: pl.Series) -> dict[str, int]:
    """Count the names in comma-joined lists."""
    lists = joined.drop_nulls().value_counts(name="rows")
    counts: Counter[str] = Counter()
    for names, rows in lists.iter_rows():
        counts.update(dict.fromkeys(names.split(","), rows))
    return dict(sorted(counts.items()))


def _all_rows(table: Table, frames: list[pl.DataFrame]) -> pl.DataFrame:
    return pl.concat([pl.DataFrame(schema=good_schema(table)), *frames])


def _entry(profile: Profile, name: str, sha256: str, table: str) -> LedgerEntry:
    return LedgerEntry(
        sha256=sha256,
        name=name,
        table=table,
        profile=profile.name,
        profile_sha256=profile.fingerprint,
        replaces_window=profile.replaces == "window",
        program_version=pipeline.__version__,
    )


def _result(entry: LedgerEntry) -> FileResult:
    return FileResult(
        name=entry.name,
        sha256=entry.sha256,
        table=entry.table,
        rows_read=entry.rows_read,
        accepted=entry.accepted,
        duplicates=entry.duplicates,
        skipped=entry.skipped,
        corrected=entry.corrected,
        quarantined=entry.quarantined,
        reasons=entry.reasons,
        warnings=entry.warnings,
        refused=entry.refused,
    )


def _known_result(entry: LedgerEntry, name: str) -> FileResult:
    duplicates = entry.accepted + entry.duplicates
    return replace(
        _result(entry), name=name, accepted=0, duplicates=duplicates, corrected=0, warnings={}, known=True
    )
