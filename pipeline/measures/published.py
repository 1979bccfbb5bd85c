"""The published results of a run of the measures: one Parquet file per table, and a page that names the run.

A reader sees only the run that ``current.json`` names, and that file is written last.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import duckdb
import polars as pl

from pipeline import __version__
from pipeline.errors import DewledgerError, NothingToDo, StorageTrouble
from pipeline.measures import engine
from pipeline.measures.derived import DERIVED_TABLES, RERUN_TABLES
from pipeline.measures.sql_files import INVARIANTS, Model, load_models
from pipeline.site_rules import SiteRules
from pipeline.store.kept_rules import fingerprint, rules_of
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry, entries
from pipeline.store.parquet import make_folder, remove_stray_temporaries, write_bytes, write_frame
from pipeline.store.settle import settle

_CURRENT = "current.json"


@dataclass(frozen=True)
class Published:
    """One run's results. ``tables`` maps a table's name to its file; ``sites`` to the rules it was judged by."""

    run_id: str
    as_of: datetime
    sites: dict[str, SiteRules]
    tables: dict[str, Path]

    def read(self, table: str) -> pl.DataFrame:
        """Return a published table; KeyError for one that is not."""
        return pl.read_parquet(self.tables[table])


def measure(
    store: Store, as_of: datetime | None, progress: Callable[[str], None] = lambda _: None
) -> Published:
    """Compute and publish every table as of an instant (default: the latest event).

    A run with the same records, rules, instant and program is published already and is not made again.
    """
    ledger = entries(store)
    sites = {
        site: rules_of(store, site)
        for site in sorted({part.site_id for item in ledger for part in item.parts})
    }
    run_id = _run_id(store, ledger, as_of)
    if (known := _current(store)) and known["run_id"] == run_id:
        return published(store)
    scratch = store.root / "scratch"
    make_folder(scratch)
    try:
        connection = engine.connect(store.root, scratch)
        settle(connection, store)
        instant = engine.compute(connection, sites, as_of, progress)
        check_invariants(connection)
        _publish(connection, store, Published(run_id, instant, sites, {}))
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
    return published(store)


def published(store: Store) -> Published:
    """Return the results that stand; raise NothingToDo when nothing was measured yet."""
    known = _current(store)
    if known is None:
        raise NothingToDo("Nothing has been measured in this store yet; run 'dewledger measure' first.")
    folder = store.measures / known["run_id"]
    return Published(
        run_id=known["run_id"],
        as_of=datetime.fromisoformat(known["as_of"]),
        sites={site: rules_of(store, site) for site in known["sites"]},
        tables={table: folder / f"{table}.parquet" for table in known["tables"]},
    )


def check_invariants(connection: duckdb.DuckDBPyConnection) -> None:
    """Raise a fault of the program when a table contradicts another; each invariant returns no rows."""
    broken = [
        model.text("title")
        for model in load_models((INVARIANTS,))
        if connection.execute(f"select 1 from ({model.sql}) limit 1").fetchone()
    ]
    if broken:
        raise DewledgerError(
            f"Nothing was published, for the results contradict themselves: {'; '.join(broken)}."
        )


def published_models() -> list[Model]:
    """Return the models whose tables are published, in order of name."""
    return sorted((model for model in load_models() if model.is_published), key=lambda model: model.name)


def _publish(connection: duckdb.DuckDBPyConnection, store: Store, run: Published) -> None:
    """Write every table of a run, whose ``tables`` it fills, and name the run as the one that stands."""
    remove_stray_temporaries(store.measures)
    for model in published_models():
        hidden = f"exclude ({', '.join(sorted(model.hidden))})" if model.hidden else ""
        rows = connection.sql(
            f"select * {hidden} from {model.table} order by all nulls first"
        ).to_arrow_table()
        _write_table(store, run, model.name, pl.DataFrame(rows))
    for name, derive in DERIVED_TABLES.items():
        _write_table(store, run, name, derive(run))
    for name, make_again in RERUN_TABLES.items():
        _write_table(store, run, name, make_again(connection))
    page = {
        "run_id": run.run_id,
        "as_of": run.as_of.isoformat(),
        "sites": list(run.sites),
        "tables": sorted(run.tables),
    }
    write_bytes(store.measures / _CURRENT, json.dumps(page, indent=1).encode())
    for folder in sorted(store.measures.iterdir()):
        if folder.is_dir() and folder.name != run.run_id:
            shutil.rmtree(folder, ignore_errors=True)


def _write_table(store: Store, run: Published, name: str, rows: pl.DataFrame) -> None:
    run.tables[name] = store.measures / run.run_id / f"{name}.parquet"
    write_frame(run.tables[name], rows)


def _run_id(store: Store, ledger: list[LedgerEntry], as_of: datetime | None) -> str:
    digest = hashlib.sha256()
    program = [f"{model.table}\0{model.sql}" for model in load_models()]
    files = [f"{item.sha256} {item.exported_at} {item.replaces_window}" for item in ledger if item.parts]
    for text in (
        __version__,
        *program,
        *DERIVED_TABLES,
        *RERUN_TABLES,
        *files,
        fingerprint(store),
        str(as_of),
    ):
        digest.update(text.encode() + b"\0")
    return digest.hexdigest()[:16]


def _current(store: Store) -> dict[str, str] | None:
    path = store.measures / _CURRENT
    if not path.exists():
        return None
    try:
        known: dict[str, str] = json.loads(path.read_bytes())
    except ValueError as error:
        raise StorageTrouble(f"{path}: damaged; delete it and run 'dewledger measure' again.") from error
    return known
