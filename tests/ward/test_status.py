"""What a store holds by source and month, what is missing or quiet, and who is writing."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import Result
from small_ward import EXPORTS, NOW, ingest_text

from pipeline import run
from pipeline.errors import NothingToDo, UsageError
from pipeline.status import Source, Status
from pipeline.store.layout import open_store
from pipeline.store.lock import hold

Run = Callable[..., Result]


@pytest.fixture(scope="module")
def found(measured_once: Path) -> Status:
    return run.status(measured_once / "store", NOW)


def source(found: Status, table: str) -> Source:
    return next(item for item in found.sources if item.table == table)


def test_rows_stand_by_month_with_the_first_and_last(found: Status):
    episodes = source(found, "episodes")
    assert [(item.month, item.rows) for item in episodes.months] == [("2026-04", 2), ("2026-05", 3)]
    assert (episodes.rows, episodes.files) == (5, 1)
    assert (episodes.first_at, episodes.last_at) == ("2026-04-02T08:00:00Z", "2026-05-20T08:00:00Z")
    assert all(item.covered and not item.declared and not item.missing for item in episodes.months)


def test_a_table_without_times_has_files_and_no_months(found: Status):
    units = source(found, "units")
    assert (units.rows, units.first_at, units.last_at) == (2, None, None)
    assert [item.month for item in units.months] == ["always"]


def test_the_gate_speaks_for_each_month(found: Status):
    assert found.gate == {"2026-04": [], "2026-05": []}
    assert found.as_of == datetime(2026, 5, 22, 10)
    assert found.last_ingest_at is not None


def test_what_has_gone_quiet_is_told(measured_once: Path):
    quiet = run.status(measured_once / "store", datetime(2026, 12, 1)).quiet
    assert {item.table for item in quiet} == {"episodes", "disinfections", "part_changes"}
    assert not run.status(measured_once / "store", datetime(2026, 5, 22, 12)).quiet


def test_a_missing_and_a_declared_month_are_told_apart(ward: Path, dewledger: Run, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    header = EXPORTS["episodes"].splitlines()[0]
    ingest_text(ward, "episodes_june", f"{header}\np7,u1,Alder,2026-06-03T08:00:00Z,\n", datetime(2026, 7, 1))
    rules = ward / "store" / "rules" / "TARN.toml"
    rules.write_text(rules.read_text() + '[coverage]\ndisinfections = ["2026-06"]\n')
    run.measure(ward / "store", None, quiet=True)
    months = {
        table: {item.month: item for item in source(run.status(ward / "store", NOW), table).months}
        for table in ("disinfections", "part_changes")
    }
    assert months["disinfections"]["2026-06"].declared
    assert not months["disinfections"]["2026-06"].missing
    assert months["part_changes"]["2026-06"].missing
    shown = dewledger("status", "--store", ward / "store")
    assert ("MISSING" in shown.stdout, "declared" in shown.stdout) == (True, True)
    assert "Quality gate, 2026-06: stops." in shown.stderr


def test_a_file_of_nothing_but_quarantined_rows_is_judged_too(ward: Path):
    ingest_text(
        ward, "episodes_bad", EXPORTS["episodes"].splitlines()[0] + "\np9,,Alder,2026-05-12T08:00:00Z,\n"
    )
    assert "1 of 4 rows of 2026-05" in run.status(ward / "store", NOW).gate["2026-05"][0]


def test_the_lock_shows_while_another_run_holds_the_store_and_not_after(measured_once: Path):
    store = open_store(measured_once / "store", create=False)
    with hold(store):
        assert run.status(store.root, NOW).holder is not None
    assert run.status(store.root, NOW).holder is None


def test_before_any_measure_coverage_is_not_known(ward: Path):
    (ward / "store" / "measures" / "current.json").unlink()
    found = run.status(ward / "store", NOW)
    assert (found.as_of, found.gate, found.quiet) == (None, {}, ())
    assert source(found, "episodes").months[0].covered is None


def test_status_as_json_is_one_object(measured_once: Path, dewledger: Run):
    told = json.loads(dewledger("status", "--store", measured_once / "store", "--json").stdout)
    assert told["schema_version"] == 1
    assert {item["table"] for item in told["sources"]} == set(EXPORTS)


def test_a_store_without_rows_has_nothing_to_show(tmp_path: Path):
    open_store(tmp_path / "store", create=True)
    with pytest.raises(NothingToDo):
        run.status(tmp_path / "store", NOW)
    with pytest.raises(UsageError):
        run.status(tmp_path / "nowhere", NOW)


def test_what_later_exports_changed_is_told_row_by_row(ward: Path, dewledger: Run):
    nothing = dewledger("status", "--changes", "--store", ward / "store")
    assert (nothing.stdout, nothing.stderr) == ("", "No export has changed what an earlier one says.\n")
    header = "exported_at,source_ref,unit_id,part,fitted_at,removed_at,lot\n"
    first = f"{header}2026-05-26T00:00Z,R1,u2,circuit,2026-05-25T08:00:00Z,,C5\n"
    later = f"{header}2026-05-27T00:00Z,r1,u2,circuit,2026-05-25T09:30:00Z,,C6\n"
    ingest_text(ward, "part_changes_2", first)
    ingest_text(ward, "part_changes_3", later)
    assert dewledger("status", "--changes", "--store", ward / "store").stdout == (
        "part_changes at TARN, source_ref=r1: fitted_at was 2026-05-25T08:00:00Z and is 2026-05-25T09:30:00Z, "
        "lot was C5 and is C6 (part_changes_3.csv, row 2).\n"
    )
    told = json.loads(dewledger("status", "--changes", "--store", ward / "store", "--json").stdout)
    assert [(change["column"], change["new"]) for change in told["changes"]] == [
        ("fitted_at", "2026-05-25T09:30:00Z"),
        ("lot", "C6"),
    ]
