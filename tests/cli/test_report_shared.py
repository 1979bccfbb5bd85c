"""`report --shared` writes a page of its own name, records that it left, and hides by one of two profiles."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

Run = Callable[..., Result]


@pytest.fixture
def measured(ingested: Path, dewledger: Run) -> Path:
    """The ward, measured."""
    assert dewledger("measure", "--store", ingested / "store").exit_code == 0
    return ingested


def test_it_is_told_by_its_name_and_recorded_in_the_audit(measured: Path, dewledger: Run) -> None:
    words = (
        "report",
        "--store",
        measured / "store",
        "--month",
        "2026-03",
        "--to",
        measured / "out",
        "--shared",
    )
    result = dewledger(*words, "--allow-poor-data", "--json")
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    assert (document["suppress"], [Path(name).name for name in document["files"]]) == (
        "hide_1_7_round_5", [f"T_2026-03_shared.{form}" for form in ("html", "pdf", "xlsx")],
    )  # fmt: skip
    page = (measured / "out" / "T_2026-03_shared.html").read_text("utf-8")
    assert "Shared edition" in page
    assert ">u1<" not in page
    line = json.loads((measured / "store" / "audit.jsonl").read_text("utf-8").splitlines()[-1])
    assert (line["command"], line["month"], line["profile"]) == (
        "report --shared",
        "2026-03",
        "hide_1_7_round_5",
    )
    assert dewledger("audit", "verify", "--store", measured / "store").exit_code == 0
    other = dewledger(*words, "--allow-poor-data", "--suppress", "hide_1_10")
    assert (other.exit_code, "keep to --suppress hide_1_7_round_5" in other.stderr) == (2, True)


def test_a_profile_without_a_shared_edition_is_wrong_usage(measured: Path, dewledger: Run) -> None:
    words = ("report", "--store", measured / "store", "--month", "2026-03", "--to", measured / "out")
    result = dewledger(*words, "--suppress", "hide_1_10")
    assert (result.exit_code, "--shared" in result.output) == (2, True)
