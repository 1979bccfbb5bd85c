"""A closed month stays as it was; late data make the next edition, with a list of what changed and why."""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import polars as pl
import pytest
from click.testing import Result
from small_ward import EXPORTS, NOW, ingest_text

from pipeline import run
from pipeline.editions import editions, write_out
from pipeline.editions.input_changes import InputChange
from pipeline.editions.month_rows import is_over, key_of
from pipeline.errors import StorageTrouble, UsageError
from pipeline.site_rules import parse_site_rules
from pipeline.store import parquet
from pipeline.store.layout import open_store

Run = Callable[..., Result]


def close(ward: Path, month: str = "2026-05"):
    return run.close(ward / "store", month, True, NOW, quiet=True)


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def written(ward: Path, number: int) -> dict[str, bytes]:
    to = ward / f"out{number}"
    write_out(open_store(ward / "store", create=False), "2026-05", number, to)
    return contents(to)


def changes(ward: Path, number: int = 2) -> list[dict[str, str]]:
    return list(csv.DictReader(written(ward, number)["changes.csv"].decode().splitlines()))


LATE_CYCLE = (
    EXPORTS["disinfections"].splitlines()[0] + "\nu2,2026-05-05T09:00:00Z,2026-05-05T10:00:00Z,passed,true\n"
)


def test_an_edition_holds_tables_rules_and_pages(ward: Path):
    close(ward)
    first = written(ward, 1)
    assert {name.split("/")[0] for name in first} == {"tables", "rules", "pages"}
    assert first["rules/TARN.toml"].decode().startswith('site_id = "TARN"')
    assert b"<html" in next(page for name, page in first.items() if name.endswith(".html"))
    cycles = pl.read_parquet(first["tables/disinfection_cycles.parquet"])
    assert cycles["started_at"].dt.strftime("%Y-%m").unique().to_list() == ["2026-05"]


def test_a_month_without_changes_has_no_second_edition(closed: Path, dewledger: Run):
    ingest_text(closed, "part_changes_same", EXPORTS["part_changes"])
    result = dewledger("close", "--store", closed / "store", "--month", "2026-05", "--allow-poor-data")
    assert (result.exit_code, "nothing has changed since edition 1" in result.stderr) == (5, True)


def test_a_late_row_makes_an_edition_that_says_what_it_changed_and_the_first_stays(closed: Path):
    first = written(closed, 1)
    ingest_text(closed, "disinfections_late", LATE_CYCLE)
    assert close(closed).changes == len(changes(closed)) > 0
    assert written(closed, 1) == first
    proof = [row for row in changes(closed) if row["table"] == "changeovers" and row["column"] == "proof"]
    assert [(row["old"], row["new"], row["why"]) for row in proof] == [
        ("no_record", "disinfected", "disinfections late: disinfections_late.csv row 2")
    ]
    assert "unit_id=u2" in proof[0]["key"]
    monthly = [
        row
        for row in changes(closed)
        if row["table"] == "changeover_monthly" and row["column"] == "no_record"
    ]
    assert {(row["old"], row["new"]) for row in monthly} == {("1", "0")}
    cycles = [row for row in changes(closed) if row["table"] == "disinfection_cycles"]
    assert [(row["column"], row["old"], row["new"]) for row in cycles] == [("*", "", "there")]


def test_a_correction_is_told_from_a_late_row(closed: Path):
    ingest_text(
        closed,
        "episodes_again",
        "patient_ref,unit_id,ward,started_at,ended_at,exported_at\n"
        "p5,u1,Alder,2026-05-20T08:00:00Z,2026-05-21T08:00:00Z,2026-05-30T00:00:00Z\n",
    )
    close(closed)
    ended = [
        row for row in changes(closed) if row["table"] == "patient_stays" and row["column"] == "ended_at"
    ]
    assert [(row["old"], row["new"]) for row in ended] == [("2026-05-22T08:00:00Z", "2026-05-21T08:00:00Z")]
    assert ended[0]["why"] == "episodes corrected: episodes_again.csv row 2"


def test_each_row_is_put_down_to_the_changes_of_its_own_unit(closed: Path):
    header = EXPORTS["disinfections"].splitlines()[0]
    ingest_text(
        closed, "disinfections_u1", f"{header}\nu1,2026-05-19T09:00:00Z,2026-05-19T10:00:00Z,passed,true\n"
    )
    ingest_text(closed, "disinfections_late", LATE_CYCLE)
    close(closed)
    cycles = {row["key"]: row["why"] for row in changes(closed) if row["table"] == "disinfection_cycles"}
    assert cycles == {
        "unit_id=u1, started_at=2026-05-19T09:00:00Z": "disinfections late: disinfections_u1.csv row 2",
        "unit_id=u2, started_at=2026-05-05T09:00:00Z": "disinfections late: disinfections_late.csv row 2",
    }


def test_a_row_of_a_later_month_is_no_late_one(closed: Path):
    header = EXPORTS["episodes"].splitlines()[0]
    june = f"{header}\np7,u1,Alder,2026-06-03T08:00:00Z,2026-06-04T08:00:00Z\n"
    ingest_text(closed, "episodes_june", june, datetime(2026, 7, 1))
    assert run.close(closed / "store", "2026-05", True, datetime(2026, 7, 1), quiet=True).changes
    assert {row["why"].split(":")[0] for row in changes(closed) if row["table"] == "turnarounds"} == {
        "episodes of a later month"
    }


def test_changed_rules_are_the_reason_where_no_row_is(closed: Path):
    rules = closed / "store" / "rules" / "TARN.toml"
    rules.write_text(rules.read_text() + "[parts.circuit]\nmax_days = 2\n")
    close(closed)
    assert {row["why"] for row in changes(closed)} == {"the site's rules changed"}


def test_a_month_that_is_not_over_cannot_be_closed(closed: Path):
    with pytest.raises(UsageError, match="2026-06 is not over yet"):
        run.close(closed / "store", "2026-06", True, NOW, quiet=True)


@pytest.mark.parametrize(("now", "over"), [("2026-10-31T22:59:59", False), ("2026-10-31T23:00:00", True)])
def test_a_month_is_over_at_the_sites_midnight(now: str, over: bool):
    rules = parse_site_rules('time_zone = "Europe/Berlin"')
    assert is_over(rules, "2026-10", type(NOW).fromisoformat(now)) is over


def test_the_quality_gate_stands_before_an_edition(closed: Path, dewledger: Run):
    ingest_text(
        closed, "episodes_bad", EXPORTS["episodes"].splitlines()[0] + "\np9,,Alder,2026-04-12T08:00:00Z,\n"
    )
    words = ("close", "--store", closed / "store", "--month", "2026-04")
    assert dewledger(*words).exit_code == 4
    store = open_store(closed / "store", create=False)
    assert editions(store, "2026-04") == []
    assert dewledger(*words, "--allow-poor-data").exit_code == 0
    assert "1 of 3 rows of 2026-04" in editions(store, "2026-04")[0].poor_data[0]


def test_editions_are_listed_and_one_that_is_not_there_is_named(closed: Path, dewledger: Run):
    listed = json.loads(dewledger("close", "--store", closed / "store", "--list", "--json").stdout)
    assert [(item["month"], item["number"]) for item in listed["editions"]] == [("2026-05", 1)]
    words = (
        "close",
        "--store",
        closed / "store",
        "--month",
        "2026-05",
        "--edition",
        2,
        "--to",
        closed / "out",
    )
    result = dewledger(*words)
    assert (result.exit_code, "no edition 2. Editions: 1." in result.stderr) == (2, True)


def test_a_file_that_changed_since_is_never_written_out(closed: Path):
    (edition,) = editions(open_store(closed / "store", create=False))
    path = closed / "store" / "editions" / "2026-05" / "1" / edition.files["rules/TARN.toml"]
    path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(StorageTrouble, match="changed since the month was closed"):
        written(closed, 1)


def test_a_killed_close_leaves_no_edition_and_the_next_run_makes_it(
    closed: Path, monkeypatch: pytest.MonkeyPatch
):
    replaced = os.replace

    def killed(source, target):
        if str(target).endswith("edition.json"):
            raise KeyboardInterrupt
        replaced(source, target)

    with monkeypatch.context() as patched:
        patched.setattr(parquet.os, "replace", killed)
        with pytest.raises(KeyboardInterrupt):
            close(closed, "2026-04")
    assert editions(open_store(closed / "store", create=False), "2026-04") == []
    edition = close(closed, "2026-04")
    folder = closed / "store" / "editions" / "2026-04" / "1"
    assert edition.number == 1
    assert {path.name for path in folder.iterdir()} == {*edition.files.values(), "edition.json"}


def test_rows_are_told_apart_by_names_and_one_instant():
    assert key_of(["site_id", "ward", "unit_id", "part", "patient_key", "fitted_at", "ended_at"]) == [
        "site_id", "unit_id", "part", "patient_key", "fitted_at",
    ]  # fmt: skip


def test_a_change_without_rows_names_its_file_only():
    assert InputChange("episodes", "T", "", "withdrawn", "a.csv", "").words == "withdrawn: a.csv"
