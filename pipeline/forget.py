"""Forgetting a patient: every row, every reference and every result that holds them; counts are all that is left.

Keys and time, for whoever looks after a store:

- **What a key is for.** Patient keys are computed with the store's key, which lies beside the store. Whoever
  has both can tell whether a reference is in it; the store alone gives nothing away.
- **Changing the key.** Keys cannot be computed anew without the references in clear, so the exports are
  ingested once more, into a new store, with a new key: ``dewledger ingest --store NEW ...``. The measures are
  the same, the patient keys all others. Then the old store and its key are deleted. Lists with old keys
  cannot be joined to the new ones, which is the point of it.
- **A lost key** cannot be replaced. The measures can still be made, but nobody can be traced by reference,
  revealed or forgotten by reference; ingest the exports into a new store.
- **How long to keep.** The site's own policy decides. To keep less, ingest only the exports that are still to
  be kept into a new store, and delete the old one with its key: with the key gone, copies of the old store
  that are still about can no longer be opened to references.
- **What forgetting does not reach**: exports, reports and lists outside the store, its backups, and what the
  disk keeps of files that were deleted. An export that still names the patient brings them back when it is
  ingested again.
"""

from __future__ import annotations

import json
import shutil
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import asdict, dataclass, replace

import polars as pl

from pipeline.errors import NothingToDo, UsageError
from pipeline.forget_editions import editions_with, strike_out
from pipeline.records import TABLES, Table, stored_name
from pipeline.store import audit, keys
from pipeline.store.columns import QUARANTINE, good_schema
from pipeline.store.contested import stored_file
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry, commit, entries, quarantine_path, remove_unnamed
from pipeline.store.parquet import remove_stray_temporaries, write_bytes

_UNKNOWN_UNIT = "unknown_unit"


@dataclass(frozen=True)
class Forgotten:
    """What was removed, or would be: counts only. ``rows`` are stored rows by table."""

    site_id: str
    references: int
    rows: dict[str, int]
    quarantined: int
    files: int
    published: bool
    editions: list[str]

    @property
    def is_nothing(self) -> bool:
        """Whether nothing of the patient is in the store."""
        return not (self.references or self.rows or self.quarantined or self.editions)


@dataclass(frozen=True)
class _Rest:
    """What stays of one file: its entry with new counts, its rows, and how many go."""

    entry: LedgerEntry
    good: pl.DataFrame
    quarantined: pl.DataFrame
    rows_gone: int
    quarantined_gone: int


def foresee(store: Store, reference: str, site: str) -> Forgotten:
    """Return what `forget` would remove; raise NothingToDo when nothing of the patient is in the store."""
    key = keys.load_key(store, create=False)
    site_id = _site(store, site)
    patients = _patients(store, keys.patient_key(key, site_id, reference))
    found = _told(store, key, site_id, patients, list(_rests(store, patients)))
    if found.is_nothing:
        raise NothingToDo(f"No row and no reference of this patient is in the store for site {site_id}.")
    return found


def forget(store: Store, reference: str, site: str, reason: str | None) -> Forgotten:
    """Remove a patient, and the references merged with theirs, from a store whose lock the caller holds.

    The patient's keys are noted first and that note is removed last: a run that was killed is completed by the
    next one, whoever that is for. Raises NothingToDo when nothing of the patient is in the store.
    """
    key = keys.load_key(store, create=False)
    patient = keys.patient_key(key, _site(store, site), reference)
    for site_id, patients in _begun(store):
        found = _remove(store, key, site_id, patients, "completed after a run that did not end")
        if patient in patients:
            return found
    found = foresee(store, reference, site)
    return _remove(store, key, found.site_id, _patients(store, patient), reason)


def _remove(store: Store, key: bytes, site_id: str, patients: set[str], reason: str | None) -> Forgotten:
    note = json.dumps({"site_id": site_id, "patients": sorted(patients)})
    write_bytes(store.forgetting, note.encode())
    remove_stray_temporaries(store.root)
    rests = list(_rests(store, patients))
    told = _told(store, key, site_id, patients, rests)
    _withdraw_results(store)
    for rest in rests:
        commit(store, rest.entry, rest.good, rest.quarantined)
    remove_unnamed(store, entries(store))
    strike_out(store, site_id, patients)
    keys.forget(store, key, {(site_id, patient) for patient in patients})
    audit.record(store, "forget", reason=reason, **asdict(told))
    store.forgetting.unlink()
    return told


def _begun(store: Store) -> Iterator[tuple[str, set[str]]]:
    if store.forgetting.exists():
        note = json.loads(store.forgetting.read_bytes())
        yield note["site_id"], set(note["patients"])


def _site(store: Store, named: str) -> str:
    known = sorted({part.site_id for entry in entries(store) for part in entry.parts})
    found = [site for site in known if site.lower() == named.strip().lower()]
    if not found:
        raise UsageError(f"--site: the store knows no site '{named}'; it has {', '.join(known) or 'none'}.")
    return found[0]


def _patients(store: Store, patient: str) -> set[str]:
    """Return a patient's key and all keys merged with it, in whatever direction: they are one person."""
    pairs = [
        {row["old_key"], row["new_key"]}
        for entry in entries(store)
        if entry.table == "patient_merges"
        for row in _stored(store, entry).iter_rows(named=True)
    ]
    person = {patient}
    while joined := [pair for pair in pairs if pair & person and not pair <= person]:
        person.update(*joined)
    return person


def _told(
    store: Store, key: bytes, site_id: str, patients: Collection[str], rests: Collection[_Rest]
) -> Forgotten:
    known = keys.recall(store, key)
    rows: Counter[str] = Counter()
    for rest in rests:
        rows[rest.entry.table] += rest.rows_gone
    return Forgotten(
        site_id=site_id,
        references=sum((site_id, patient) in known for patient in patients),
        rows={table: count for table, count in sorted(rows.items()) if count},
        quarantined=sum(rest.quarantined_gone for rest in rests),
        files=len(rests),
        published=store.measures.exists(),
        editions=[f"{edition.month}/{edition.number}" for edition in editions_with(store, patients)],
    )


def _rests(store: Store, patients: Collection[str]) -> Iterator[_Rest]:
    """Yield what stays of each file that holds something of the patients, or of which rows are gone already."""
    for entry in entries(store):
        table = TABLES.get(entry.table)
        columns = (
            [stored_name(column) for column in table.columns if column.kind == "patient"] if table else []
        )
        if table and columns:
            rest = _rest(store, entry, table, columns, patients)
            if rest.rows_gone or rest.quarantined_gone:
                yield rest


def _rest(
    store: Store, entry: LedgerEntry, table: Table, columns: list[str], patients: Collection[str]
) -> _Rest:
    is_patient = pl.any_horizontal(
        pl.col(name).is_in(list(patients)).fill_null(value=False) for name in columns
    )
    good = _stored(store, entry).filter(~is_patient)
    quarantined = _quarantined(store, entry)
    named = [column.name for column in table.columns if column.kind == "patient"]
    kept = [not _names(raw, named, patients) for raw in quarantined["raw"]]
    quarantined = quarantined.filter(pl.Series(kept, dtype=pl.Boolean))
    # Counted against the ledger, not the rows as they lie: a killed run may have removed some of them already.
    rows_gone = sum(part.rows for part in entry.parts) - good.height
    quarantined_gone = entry.quarantined - quarantined.height
    return _Rest(
        _recounted(entry, good, quarantined, rows_gone), good, quarantined, rows_gone, quarantined_gone
    )


def _names(raw: str, columns: Collection[str], patients: Collection[str]) -> bool:
    said = json.loads(raw)
    return any(said.get(name) in patients for name in columns)


def _recounted(
    entry: LedgerEntry, good: pl.DataFrame, quarantined: pl.DataFrame, rows_gone: int
) -> LedgerEntry:
    """Return the entry as if the file had never held the rows that go, but for how many they were.

    Stored rows were accepted, or duplicates of another file's; which of the two a row was is not kept, so that
    the accepted ones go first.
    """
    accepted = max(entry.accepted - rows_gone, 0)
    duplicates = entry.duplicates - (rows_gone - (entry.accepted - accepted))
    warned = _counts(good["warnings"]) | {_UNKNOWN_UNIT: good.height}
    warnings = {name: min(count, warned.get(name, 0)) for name, count in entry.warnings.items()}
    return replace(
        entry,
        rows_read=accepted + duplicates + entry.skipped + quarantined.height,
        accepted=accepted,
        duplicates=duplicates,
        corrected=min(entry.corrected, accepted),
        quarantined=quarantined.height,
        reasons=_counts(quarantined["reasons"]),
        warnings={name: count for name, count in warnings.items() if count},
        forgotten=entry.forgotten + rows_gone + entry.quarantined - quarantined.height,
    )


def _counts(joined: pl.Series) -> dict[str, int]:
    """Count the names in comma-joined lists."""
    return dict(
        sorted(Counter(name for text in joined.drop_nulls() for name in text.split(",") if name).items())
    )


def _stored(store: Store, entry: LedgerEntry) -> pl.DataFrame:
    schema = good_schema(TABLES[entry.table])
    files = [stored_file(store, part) for part in entry.parts]
    found = [pl.read_parquet(path, hive_partitioning=False).select(schema.names()) for path in files]
    return pl.concat([pl.DataFrame(schema=schema), *found])


def _quarantined(store: Store, entry: LedgerEntry) -> pl.DataFrame:
    path = quarantine_path(store, entry)
    if path is None:
        return pl.DataFrame(schema=QUARANTINE)
    return pl.read_parquet(path, hive_partitioning=False)


def _withdraw_results(store: Store) -> None:
    """Remove the published tables, which hold the patient's key; the page that names them goes first."""
    (store.measures / "current.json").unlink(missing_ok=True)
    shutil.rmtree(store.measures, ignore_errors=True)
    for scratch in store.root.glob("scratch*"):
        shutil.rmtree(scratch, ignore_errors=True)
