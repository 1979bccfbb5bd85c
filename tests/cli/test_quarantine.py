"""`dewledger quarantine`: the list as ever, and the way out of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

Run = Callable[..., Result]


@pytest.fixture
def store(ingested: Path, dewledger: Run) -> Path:
    bad = ingested / "episodes_2.csv"
    bad.write_text(
        "patient_ref,unit_id,ward,started_at\ncanary-9,u1,Alder,soon\ncanary-8,,Alder,2026-03-20T08:00Z\n"
    )
    dewledger("ingest", "--store", ingested / "store", bad)
    return ingested / "store"


def test_the_list_with_and_without_its_name(store: Path, dewledger: Run) -> None:
    plain, named = (
        dewledger("quarantine", "--store", store),
        dewledger("quarantine", "list", "--store", store),
    )
    assert plain.exit_code == named.exit_code == 0
    assert plain.stdout == named.stdout
    assert "bad_time:started_at" in plain.stdout
    assert dewledger("quarantine").exit_code == 2


def test_the_list_of_one_file(store: Path, dewledger: Run) -> None:
    told = dewledger("quarantine", "list", "--store", store, "--file", "episodes_2.csv", "--json")
    assert len(json.loads(told.stdout)["rows"]) == 2
    assert dewledger("quarantine", "list", "--store", store, "--table", "units").exit_code == 5


def test_one_row(store: Path, dewledger: Run) -> None:
    told = dewledger("quarantine", "show", "--store", store, "episodes_2.csv", "2")
    assert "started_at = soon" in told.stdout
    assert "canary" not in told.output
    shown = dewledger("quarantine", "show", "--store", store, "episodes_2.csv", "2", "--json")
    assert json.loads(shown.stdout)["row"]["source_row"] == 2


def test_export_and_retry_of_an_untouched_workbook(store: Path, dewledger: Run) -> None:
    book = store.parent / "mend.xlsx"
    assert dewledger("quarantine", "export", "--store", store, "--to", book).exit_code == 0
    told = dewledger("quarantine", "retry", "--store", store, book, "--json")
    assert told.exit_code == 0, told.output
    counted = {"accepted": {}, "quarantined": {}, "unchanged": 2, "gone": 0}
    assert json.loads(told.stdout) == {"schema_version": 1, **counted}


def test_discard_needs_a_reason_and_a_choice_and_names_no_patient(store: Path, dewledger: Run) -> None:
    asked = ("quarantine", "discard", "--store", store)
    assert dewledger(*asked, "--all").exit_code == 2
    assert dewledger(*asked, "--reason", "test data").exit_code == 2
    assert dewledger(*asked, "--reason", "test data", "--row", "2").exit_code == 2
    assert dewledger(*asked, "--reason", "canary-1 asked for it", "--all").exit_code == 2
    told = dewledger(*asked, "--reason", "test data", "--file", "episodes_2.csv", "--row", "2")
    assert (told.exit_code, "1 rows given up" in told.stderr) == (0, True)
    assert "test data" in (store / "audit.jsonl").read_text()
    assert dewledger(*asked, "--reason", "test data", "--all", "--json").stdout.endswith('"discarded": 1}\n')
    assert dewledger("quarantine", "list", "--store", store, "--json").stdout.endswith('"rows": []}\n')
