"""`dewledger check`: what a person, and a scheduler, is told of exports before anything is ingested."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from click.testing import Result

Run = Callable[..., Result]


def test_good_exports_end_well_and_leave_no_store(ward: Path, dewledger: Run) -> None:
    before = sorted(ward.rglob("*"))
    result = dewledger("check", "--rules", ward / "site.toml", ward / "in")
    assert result.exit_code == 0, result.output
    assert "0 quarantined; 0 files refused" in result.stderr
    assert sorted(ward.rglob("*")) == before


def test_a_bad_row_is_told_with_what_to_do_and_ends_in_3(ward: Path, dewledger: Run) -> None:
    with (ward / "in" / "episodes.csv").open("a") as file:
        file.write("canary-3,u1,Alder,tomorrow,\n")
    result = dewledger("check", "--rules", ward / "site.toml", "--to", ward / "found.xlsx", ward / "in")
    assert result.exit_code == 3
    assert "quarantined, row 4, column started_at: 'tomorrow'" in result.stdout
    assert "→" in result.stdout
    assert "canary" not in result.output
    assert (ward / "found.xlsx").read_bytes()[:2] == b"PK"


def test_json_holds_files_and_findings(ward: Path, dewledger: Run) -> None:
    with (ward / "in" / "episodes.csv").open("a") as file:
        file.write("canary-3,u1,Alder,tomorrow,\n")
    result = dewledger("check", "--rules", ward / "site.toml", "--json", "--mask", ward / "in")
    document = json.loads(result.stdout)
    assert document["schema_version"] == 1
    (found,) = [item for item in document["findings"] if item["kind"] == "quarantined"]
    assert (found["file"], found["row"], found["value"]) == ("episodes.csv", 4, "xxxxxxxx")
    assert len(document["files"]) == 3


def test_wrong_usage_is_told(ward: Path, dewledger: Run) -> None:
    result = dewledger("check", ward / "absent")
    assert (result.exit_code, "absent" in result.stderr) == (2, True)
