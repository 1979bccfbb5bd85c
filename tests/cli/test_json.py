"""`--json` prints exactly one object on standard output, also when something fails."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from click.testing import Result

Run = Callable[..., Result]


def _object(result: Result) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(result.stdout)
    assert document["schema_version"] == 1
    return document


def test_ingest_accounts_for_each_file(ward: Path, dewledger: Run) -> None:
    (ward / "in" / "episodes.csv").write_text(
        (ward / "in" / "episodes.csv").read_text() + "canary-3,,Alder,2026-03-12T08:00:00Z,\n"
    )
    result = dewledger(
        "ingest", "--store", ward / "store", "--rules", ward / "site.toml", "--json", ward / "in"
    )
    files = {file["name"]: file for file in _object(result)["files"]}
    assert result.exit_code == 3
    episodes = files["episodes.csv"]
    assert len(episodes["sha256"]) == 64
    wanted = {
        "table": "episodes",
        "rows_read": 3,
        "accepted": 2,
        "duplicates": 0,
        "skipped": 0,
        "corrected": 0,
        "quarantined": 1,
        "reasons": {"missing_value": 1},
        "warnings": {},
    }
    assert {name: episodes[name] for name in wanted} == wanted


def test_the_same_files_again_are_all_duplicates(ingested: Path, dewledger: Run) -> None:
    again = _object(dewledger("ingest", "--store", ingested / "store", "--json", ingested / "in"))
    assert all(file["duplicates"] == file["rows_read"] > 0 for file in again["files"])


def test_measure_names_the_instant_and_the_tables(ingested: Path, dewledger: Run) -> None:
    document = _object(dewledger("measure", "--store", ingested / "store", "--json"))
    assert document["as_of"] == "2026-03-10T10:00:00Z"
    assert "changeovers" in document["tables"]


def test_a_failure_is_an_object_too(ingested: Path, dewledger: Run) -> None:
    result = dewledger("measure", "--store", ingested / "store", "--as-of", "yesterday", "--json")
    document = _object(result)
    assert (result.exit_code, document["exit_status"], document["error"]) == (2, 2, "usage")


def test_quarantined_rows_stand_in_it_whole(ingested: Path, dewledger: Run) -> None:
    bad = ingested / "episodes_2.csv"
    bad.write_text("patient_ref,unit_id,ward,started_at\ncanary-9,u1,Alder,soon\n")
    dewledger("ingest", "--store", ingested / "store", bad)
    (row,) = _object(dewledger("quarantine", "--store", ingested / "store", "--json"))["rows"]
    assert (row["file_name"], row["source_row"], row["reasons"]) == ("episodes_2.csv", 2, "bad_time")
    assert "canary-9" not in json.dumps(row)
