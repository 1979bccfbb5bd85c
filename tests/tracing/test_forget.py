"""Forgetting a patient, through the command line."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import polars as pl
import pytest
from canaries import files_below, found_in
from traced_ward import MakeWard, answer, run

from pipeline import forget
from pipeline.store.keys import load_key, recall
from pipeline.store.layout import open_store
from pipeline.store.ledger import entries
from pipeline.store.verify import verify
from reports import csv_link, render

#: The patient of ref-a is ref-old as well; one of their rows is in quarantine, for its end lies before its start.
WARD = {
    "episodes": [
        "ref-a | u1 | Alder | 03-02 08:00 | 03-03 08:00",
        "ref-old | u2 | Alder | 02-02 08:00 | 02-03 08:00",
        "ref-a | u1 | Alder | 03-09 08:00 | 03-08 08:00",
        "ref-b | u1 | Alder | 03-04 08:00 | 03-05 08:00",
        "ref-b | u1 | Alder | 03-19 08:00 | 03-18 08:00",
    ],
    "disinfections": [
        "u1 | c0 | 03-01 08:00 | 03-01 09:00 | passed",
        "u1 | c1 | 04-01 08:00 | 04-01 09:00 | passed",
    ],
    "part_changes": [
        "u1 | ref-a | interface | 03-02 07:00 | | L-1 | INT",
        "u1 | | circuit | 03-04 07:00 | | L-2 | CIR",
    ],
    "patient_merges": ["ref-old | ref-a"],
    "setup_checks": ["u1 | ref-a | 03-02 08:10 | name on unit | done"],
}
GOES = {"episodes": 2, "part_changes": 1, "patient_merges": 1, "setup_checks": 1}


def erase(store: Path, *more: object):
    return run("forget", "--store", store, "--patient", "REF-A", "--site", "tarn", "--yes", *more)


def keys_in(store: Path) -> set[str]:
    """Every patient key in stored rows, quarantine and results."""
    found: set[str] = set()
    for path in store.rglob("*.parquet"):
        rows = pl.read_parquet(path, hive_partitioning=False)
        for name in rows.columns:
            if name.endswith("_key"):
                found |= set(rows[name].drop_nulls())
            if name == "raw":
                found |= {json.loads(raw).get("patient_ref") for raw in rows[name]}
    return found


def references_in(store: Path) -> set[str]:
    opened = open_store(store, create=False)
    return set(recall(opened, load_key(opened, create=False)).values())


def accounts(store: Path) -> dict[str, tuple[int, ...]]:
    return {
        entry.table: (entry.rows_read, entry.accepted, entry.quarantined, entry.forgotten)
        for entry in entries(open_store(store, create=False))
    }


def test_a_patient_is_removed_everywhere(ward: MakeWard):
    store = ward(WARD)
    assert run("measure", "--store", store).exit_code == 0
    keys = {
        stay["patient_key"] for stay in answer("trace", "--store", store, "--patient", "ref-old")["stays"]
    }
    before = keys_in(store)
    result = erase(store)
    assert result.exit_code == 0, result.output
    assert keys <= before
    assert len(before - keys_in(store)) == 2
    assert not list((store / "measures").rglob("*.parquet"))
    assert run("trace", "--store", store, "--patient", "ref-a").exit_code == 5
    assert run("trace", "--store", store, "--patient", "ref-old").exit_code == 5
    assert run("trace", "--store", store, "--patient", "ref-b").exit_code == 0


def test_it_says_what_was_removed(ward: MakeWard):
    store = ward(WARD)
    run("measure", "--store", store)
    told = answer("forget", "--store", store, "--patient", "ref-a", "--site", "TARN", "--yes")
    assert (told["rows"], told["quarantined"], told["references"], told["published"]) == (GOES, 1, 2, True)
    assert "ref-a" not in json.dumps(told)


def test_every_account_still_adds_up_and_holds_how_many_rows_went(ward: MakeWard):
    store = ward(WARD)
    assert accounts(store)["episodes"] == (5, 3, 2, 0)
    erase(store)
    assert accounts(store)["episodes"] == (2, 1, 1, 3)
    assert accounts(store)["setup_checks"] == (0, 0, 0, 1)
    assert accounts(store)["disinfections"] == (2, 2, 0, 0)
    entry = next(e for e in entries(open_store(store, create=False)) if e.table == "episodes")
    assert entry.reasons == {"ends_before_start": 1}


def test_the_store_is_whole_afterwards_and_can_be_measured(ward: MakeWard):
    store = ward(WARD)
    erase(store)
    assert verify(open_store(store, create=False)) == []
    assert run("measure", "--store", store).exit_code == 0
    assert answer("audit", "verify", "--store", store)["faults"] == []


def test_the_others_references_stay_readable(ward: MakeWard):
    store = ward(WARD)
    erase(store)
    found = answer("trace", "--store", store, "--unit", "u1", "--reveal", "--reason", "check")
    assert [item["patient_ref"] for item in found["references"]] == ["ref-b"]


def test_the_audit_keeps_counts_and_the_reason_and_no_patient(ward: MakeWard):
    store = ward(WARD)
    keys = {stay["patient_key"] for stay in answer("trace", "--store", store, "--patient", "ref-a")["stays"]}
    erase(store, "--reason", "asked for by letter")
    text = (store / "audit.jsonl").read_text()
    line = json.loads(text.splitlines()[-1])
    assert (line["command"], line["reason"], line["rows"]) == ("forget", "asked for by letter", GOES)
    assert not any(word in text.lower() for word in ("ref-a", "ref-old", *keys))


def test_without_yes_nothing_is_removed(ward: MakeWard):
    store = ward(WARD)
    before = {path: path.read_bytes() for path in store.rglob("*") if path.is_file()}
    result = run("forget", "--store", store, "--patient", "ref-a", "--site", "TARN")
    assert "2 of episodes" in result.stdout
    assert "Nothing was removed" in result.stdout
    assert {path: path.read_bytes() for path in store.rglob("*") if path.is_file()} == before


def test_one_site_does_not_touch_the_others(ward: MakeWard):
    ward(WARD)
    elsewhere = {
        name: [row.replace("u1", "u7") for row in WARD[name]] for name in ("episodes", "disinfections")
    }
    store = ward(elsewhere, site="TOWN")
    assert erase(store).exit_code == 0
    assert run("trace", "--store", store, "--patient", "ref-a", "--site", "TARN").exit_code == 5
    assert run("trace", "--store", store, "--patient", "ref-a", "--site", "TOWN").exit_code == 0


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        (("--patient", "nobody", "--site", "TARN", "--yes"), 5),
        (("--patient", "ref-a", "--site", "MOON", "--yes"), 2),
        (("--patient", "ref-a", "--site", "TARN", "--yes", "--reason", "Mr ref-a asked"), 2),
    ],
)
def test_what_cannot_be_forgotten_is_said(ward: MakeWard, asked: tuple, status: int):
    store = ward(WARD)
    result = run("forget", "--store", store, *asked)
    assert result.exit_code == status
    assert "nobody" not in result.stderr
    assert len(keys_in(store)) == 3


def test_with_another_key_nothing_is_forgotten(ward: MakeWard):
    store = ward(WARD)
    store.with_name("store.key").write_text("0" * 64)
    assert erase(store).exit_code == 8


def test_an_export_ingested_again_as_it_was_brings_nobody_back(ward: MakeWard):
    store = ward(WARD)
    erase(store)
    ward(WARD)
    assert run("trace", "--store", store, "--patient", "ref-a").exit_code == 5


class _Killed(BaseException):
    """Stands for a run that is killed at once."""


@pytest.mark.parametrize("at", range(1, 9))
def test_a_run_killed_anywhere_is_completed_by_the_next(
    ward: MakeWard, monkeypatch: pytest.MonkeyPatch, at: int
):
    store = ward(WARD)
    run("measure", "--store", store)
    calls = iter(range(1, 99))

    def dying(real):
        def step(*words, **named):
            if next(calls) == at:
                raise _Killed
            return real(*words, **named)

        return step

    with monkeypatch.context() as patched:
        for name in ("_withdraw_results", "commit", "remove_unnamed", "strike_out"):
            patched.setattr(forget, name, dying(getattr(forget, name)))
        patched.setattr(forget.keys, "forget", dying(forget.keys.forget))
        with pytest.raises(_Killed):
            forget.forget(open_store(store, create=False), "ref-a", "TARN", None)
    assert erase(store).exit_code == 0
    assert len(keys_in(store)) == 1
    assert verify(open_store(store, create=False)) == []
    assert accounts(store)["episodes"] == (2, 1, 1, 3)
    assert not (store / "forgetting.json").exists()
    assert references_in(store) == {"ref-b"}


def test_a_run_killed_amid_a_file_is_counted_right(ward: MakeWard):
    store = open_store(ward(WARD), create=False)
    entry = next(entry for entry in entries(store) if entry.table == "setup_checks")
    (path,) = (store.root / name for name in entry.files)
    pl.read_parquet(path, hive_partitioning=False).clear().write_parquet(path)
    assert erase(store.root).exit_code == 0
    assert accounts(store.root)["setup_checks"] == (0, 0, 0, 1)


def test_what_killed_runs_left_unnamed_goes_too(ward: MakeWard):
    store = ward(WARD)
    named = next((store / "tables/episodes").rglob("*.parquet"))
    named.with_name(f"{'f' * 64}.parquet").write_bytes(named.read_bytes())
    (store / "tables/.x.parquet.1.unfinished").write_bytes(gzip.compress(b"ref-a"))
    erase(store)
    assert verify(open_store(store, create=False)) == []
    assert not list(store.rglob("*.unfinished"))


def test_the_key_is_struck_out_of_closed_months_and_they_are_marked(
    ward: MakeWard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(csv_link, "_LONGEST", 0)  # pack every list, as the long ones of a large site are
    store = ward(WARD)
    closed = run("close", "--store", store, "--month", "2026-03", "--allow-poor-data")
    assert closed.exit_code == 0, closed.output
    keys = {stay["patient_key"] for stay in answer("trace", "--store", store, "--patient", "ref-a")["stays"]}
    run("close", "--store", store, "--month", "2026-03", "--edition", 1, "--to", tmp_path / "before")
    kept = files_below(tmp_path / "before/pages")
    assert all(found_in([page], keys) for page in kept)
    assert len(kept) == 3
    told = answer("forget", "--store", store, "--patient", "ref-a", "--site", "TARN", "--yes")
    assert told["editions"] == ["2026-03/1"]
    written = run("close", "--store", store, "--month", "2026-03", "--edition", 1, "--to", tmp_path / "after")
    assert written.exit_code == 0, written.output
    assert found_in(files_below(store, tmp_path / "after"), keys) == set()
    mark = json.loads((store / "editions/2026-03/1/forgotten.json").read_text())
    assert {"tables/patient_stays.parquet", "pages/TARN_2026-03.html"} <= set(mark["changed"])
    assert mark["removed"] == ["pages/TARN_2026-03.pdf", "pages/TARN_2026-03.xlsx"]
    listed = run("close", "--store", store, "--list")
    assert listed.output.strip().endswith("a patient struck out since")
    before, after = (
        pl.read_parquet(tmp_path / name / "tables/part_cover_monthly.parquet") for name in ("before", "after")
    )
    assert before.equals(after)


def test_the_pages_of_other_sites_stay_in_closed_months(
    ward: MakeWard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def pages(*told, plan, poor_data):
        *_, month, to = told
        paths = [to / f"{name}_{month}.{form}" for name in ("TARN", "TOWN") for form in ("pdf", "xlsx")]
        for path in paths:
            path.write_text("cannot be changed")
        return paths

    monkeypatch.setattr(render, "write_reports", pages)
    store = ward(WARD)
    assert run("close", "--store", store, "--month", "2026-03", "--allow-poor-data").exit_code == 0
    assert erase(store).exit_code == 0
    mark = json.loads((store / "editions/2026-03/1/forgotten.json").read_text())
    assert mark["removed"] == ["pages/TARN_2026-03.pdf", "pages/TARN_2026-03.xlsx"]
