"""Mended rows taken in under the file and number they came from, and rows given up with a reason."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from pipeline.errors import UsageError
from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.headers import Header
from pipeline.ingest.ingest_file import Run, counts, held_against_store
from pipeline.ingest.read_files import Export
from pipeline.ingest.repair_sheet import Mended, fields_of, kept_profile, read_sheets
from pipeline.ingest.repeats import Distinct, compare, stored_part
from pipeline.ingest.sort_rows import Judging, Sorted, sort_mended
from pipeline.records import TABLES, Table
from pipeline.store.columns import QUARANTINE, good_schema
from pipeline.store.keys import remember, unseal
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry, commit, quarantine_path


@dataclass(frozen=True)
class Retried:
    """What became of the rows of a repair workbook: taken in, still not accepted (both by file), left as they
    were, and no longer in quarantine, because they were taken in or discarded before."""

    accepted: dict[str, int]
    quarantined: dict[str, int]
    unchanged: int
    gone: int


def retry(run: Run, path: Path) -> Retried:
    """Take in the rows that were mended in a workbook; the caller holds the store's lock.

    A row keeps its file and number, and leaves the quarantine's count of that file for another one.
    """
    accepted: Counter[str] = Counter()
    kept_out: Counter[str] = Counter()
    unchanged = gone = 0
    mended: dict[str, list[Mended]] = {}
    for row in read_sheets(path):
        mended.setdefault(row.sha256, []).append(row)
    for sha256, rows in sorted(mended.items()):
        entry = next((entry for entry in run.known if entry.sha256 == sha256), None)
        waiting = _waiting(run, entry) if entry else {}
        changed = [
            row for row in rows if row.source_row in waiting and _differs(row, waiting[row.source_row])
        ]
        here = sum(row.source_row in waiting for row in rows)
        gone, unchanged = gone + len(rows) - here, unchanged + here - len(changed)
        if entry and changed:
            after = _take_in(run, entry, changed, waiting)
            accepted[entry.name] += entry.quarantined - after.quarantined
            kept_out[entry.name] += len(changed) - (entry.quarantined - after.quarantined)
    return Retried(dict(accepted), {name: rows for name, rows in kept_out.items() if rows}, unchanged, gone)


def discard(
    store: Store, known: Iterable[LedgerEntry], rows: pl.DataFrame, reason: str
) -> list[tuple[LedgerEntry, list[int]]]:
    """Give up quarantined rows (`quarantine.listing`): they count as skipped, and the ledger keeps the reason.

    Returns each file's entry as it stands then, with the numbers of its rows.
    """
    if not reason.strip():
        raise UsageError("Give the reason why these rows are given up: --reason TEXT.")
    done = []
    for entry in known:
        numbers = rows.filter(pl.col("sha256") == entry.sha256)[SOURCE_ROW].to_list()
        if not numbers:
            continue
        left = _quarantined(store, entry).filter(~pl.col(SOURCE_ROW).is_in(numbers))
        after = replace(
            entry,
            quarantined=left.height,
            skipped=entry.skipped + len(numbers),
            reasons=counts(left["reasons"]),
            discarded={**entry.discarded, **{str(number): reason.strip() for number in numbers}},
        )
        done.append((commit(store, after, _stored(store, entry), left), numbers))
    return done


def _waiting(run: Run, entry: LedgerEntry) -> dict[int, dict[str, str | None]]:
    """Return what the quarantined rows of a file say, by their number; patients as their key."""
    rows = _quarantined(run.store, entry)
    return {number: json.loads(raw) for number, raw in rows.select(SOURCE_ROW, "raw").iter_rows()}


def _differs(row: Mended, raw: dict[str, str | None]) -> bool:
    return any(
        (said or "").strip() != (_text(raw.get(name)) or "").strip() for name, said in row.fields.items()
    )


def _text(said: object) -> str | None:
    return said if isinstance(said, str) else None


def _take_in(
    run: Run, entry: LedgerEntry, mended: list[Mended], waiting: dict[int, dict[str, str | None]]
) -> LedgerEntry:
    """Judge a file's mended rows and commit the file with them in their new place."""
    table = TABLES[entry.table]
    told = _judged(run, entry, mended, waiting)
    before = _stored(run.store, entry)
    others = replace(run, known=[one for one in run.known if one is not entry])
    accounts, good = [], [before]
    for site_id, kept in told.good.items():
        # A mended row may repeat or correct one of its own file too.
        own = before.filter(pl.col("site_id") == site_id).with_columns(
            pl.lit(entry.sha256).alias("file_sha256")
        )
        met = compare(kept.rows, table, own)
        fresh = kept.rows.filter(~pl.col(SOURCE_ROW).is_in(met.duplicates.implode()))
        kept = Distinct(fresh, kept.dropped + len(met.duplicates), kept.corrections.append(met.corrections))
        accounts.append(held_against_store(others, table, site_id, kept))
        good.append(fresh)
    accepted = {row.source_row for row in mended} - set(told.quarantined[SOURCE_ROW])
    touched = [row.source_row for row in mended]
    left = _quarantined(run.store, entry).filter(~pl.col(SOURCE_ROW).is_in(touched))
    quarantined = pl.concat([left, told.quarantined]).sort(SOURCE_ROW)
    warnings = sum((account.warnings for account in accounts), Counter(entry.warnings))
    after = replace(
        entry,
        accepted=entry.accepted + sum(account.fresh.height for account in accounts),
        duplicates=entry.duplicates + sum(account.duplicates for account in accounts),
        corrected=entry.corrected + sum(account.corrected for account in accounts),
        quarantined=quarantined.height,
        reasons=counts(quarantined["reasons"]),
        warnings=dict(sorted(warnings.items())),
        repaired=tuple(sorted({*entry.repaired, *accepted})),
    )
    remember(run.store, run.key, told.references)
    committed = commit(run.store, after, pl.concat(good), quarantined)
    run.known[run.known.index(entry)] = committed
    return committed


def _judged(
    run: Run, entry: LedgerEntry, mended: list[Mended], waiting: dict[int, dict[str, str | None]]
) -> Sorted:
    table, profile = TABLES[entry.table], kept_profile(run.store, entry)
    fields = fields_of(table, profile)
    sealed = dict(_quarantined(run.store, entry).select(SOURCE_ROW, "sealed").iter_rows())
    said = [_said(row, waiting[row.source_row], sealed[row.source_row], run.key) for row in mended]
    for row, fields_said in zip(mended, said, strict=True):
        _require_no_pasted_key(f"{entry.name}, row {row.source_row}", fields_said, table)
    names = [name for name in fields if any(row.get(name) for row in said)]
    columns = {name: pl.Series([row.get(name) or "" for row in said], dtype=pl.String) for name in names}
    raw = pl.DataFrame({**columns, SOURCE_ROW: pl.Series([row.source_row for row in mended], dtype=pl.Int64)})
    header = Header(len(names), {name: place for place, name in enumerate(names)}, ())
    # A time that stood above the header is the whole file's; one in a column comes with the row.
    told_at = entry.exported_at if profile.exported_at else None
    export = Export(entry.name, entry.sha256, entry.table, profile, header, exported_at=told_at)
    sites = sorted({part.site_id for part in entry.parts})
    own = replace(run.sites, own=sites[0]) if len(sites) == 1 else run.sites
    return sort_mended(raw, Judging(export, table, own, run.key, run.now))


def _require_no_pasted_key(place: str, said: dict[str, str | None], table: Table) -> None:
    """A key pasted over a reference would be taken for the reference of somebody new."""
    for name in (column.name for column in table.columns if column.kind == "patient"):
        if re.fullmatch(r"\s*[0-9a-f]{32}\s*", said.get(name) or ""):
            raise UsageError(f"{place}: '{name}' holds the key of another row; type the reference itself.")


def _said(row: Mended, raw: dict[str, str | None], sealed: bytes | None, key: bytes) -> dict[str, str | None]:
    """Return what a mended row says, with the reference itself where its key was left as it was."""
    hidden = json.loads(unseal(key, sealed)) if sealed else {}
    return {
        name: hidden[name] if name in hidden and said == raw.get(name) else said
        for name, said in row.fields.items()
    }


def _stored(store: Store, entry: LedgerEntry) -> pl.DataFrame:
    schema = good_schema(TABLES[entry.table])
    return pl.concat([pl.DataFrame(schema=schema), *(stored_part(store, part) for part in entry.parts)])


def _quarantined(store: Store, entry: LedgerEntry) -> pl.DataFrame:
    path = quarantine_path(store, entry)
    return pl.read_parquet(path, hive_partitioning=False) if path else pl.DataFrame(schema=QUARANTINE)
