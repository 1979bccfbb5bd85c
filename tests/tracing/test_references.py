"""Revealed references and the audit of a store."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from traced_ward import MakeWard, answer, run

WARD = {
    "episodes": [
        "REF-00041 | u1 | Alder | 03-02 08:00 | 03-03 08:00",
        "REF-00042 | u1 | Alder | 03-04 08:00 | 03-05 08:00",
        "R7 | u2 | Alder | 03-04 08:00 | 03-05 08:00",
    ],
    "disinfections": ["u1 | c0 | 03-01 08:00 | 03-01 09:00 | passed"],
    "part_changes": ["u1 | | circuit | 03-02 07:00 | | L-1 | CIR"],
}
WHY = ("--reveal", "--reason", "cluster on Alder")


def lines_of(store: Path) -> list[dict]:
    return [json.loads(line) for line in (store / "audit.jsonl").read_text().splitlines()]


@pytest.mark.parametrize(
    "asked", [("trace", "--unit", "u1"), ("recall", "--lot", "L-1"), ("unit", "--unit", "u1")]
)
def test_references_are_shown_for_a_reason_and_that_is_on_the_record(ward: MakeWard, asked: tuple):
    store = ward(WARD)
    result = run(asked[0], "--store", store, *asked[1:], *WHY, "--json")
    assert "REF-00042" in result.stdout
    line = lines_of(store)[-1]
    assert (line["command"], line["reason"], line["references"]) == ("reveal", "cluster on Alder", 2)
    assert "REF-" not in (store / "audit.jsonl").read_text()


def test_a_page_with_references_says_so(ward: MakeWard, tmp_path: Path):
    run("trace", "--store", ward(WARD), "--unit", "u1", *WHY, "--to", tmp_path / "out")
    page = (tmp_path / "out/trace-unit-u1.html").read_text("utf-8")
    assert "REF-00042" in page
    assert "names patients in clear" in page


def test_without_revealing_no_reference_is_shown_and_nothing_is_recorded(ward: MakeWard):
    store = ward(WARD)
    before = lines_of(store)
    assert "REF-" not in run("trace", "--store", store, "--unit", "u1").output
    assert lines_of(store) == before


@pytest.mark.parametrize("stated", [("--reveal",), ("--reveal", "--reason", "  "), ("--reason", "why")])
def test_revealing_and_a_reason_go_together(ward: MakeWard, stated: tuple):
    store = ward(WARD)
    result = run("trace", "--store", store, "--unit", "u1", *stated)
    assert result.exit_code == 2
    assert "--reason" in result.stderr
    assert len(lines_of(store)) == 1


@pytest.mark.parametrize("reason", ["about ref-00041", "ref 00041 asked", "mother of r7"])
def test_a_reason_that_names_a_patient_is_refused(ward: MakeWard, reason: str):
    store = ward(WARD)
    result = run("trace", "--store", store, "--unit", "u1", "--reveal", "--reason", reason)
    assert result.exit_code == 2
    assert "names a patient" in result.stderr
    assert len(lines_of(store)) == 1


@pytest.mark.parametrize("key", ["0" * 64, None])
def test_a_wrong_or_missing_key_reveals_nothing(ward: MakeWard, key: str | None):
    store = ward(WARD)
    beside = store.with_name("store.key")
    beside.write_text(key) if key else beside.unlink()
    result = run("trace", "--store", store, "--unit", "u1", *WHY)
    assert (result.exit_code, result.stdout) == (8, "")
    assert len(lines_of(store)) == 1


def test_the_audit_is_shown_and_found_whole(ward: MakeWard):
    store = ward(WARD)
    run("trace", "--store", store, "--unit", "u1", *WHY)
    whole = answer("audit", "verify", "--store", store)
    assert (whole["lines"], whole["faults"]) == (2, [])
    assert len(whole["last_sha256"]) == 64
    shown = run("audit", "show", "--store", store).stdout.splitlines()
    assert ["ingest" in shown[0], "cluster on Alder" in shown[1]] == [True, True]
    assert [line["command"] for line in answer("audit", "show", "--store", store)["lines"]] == [
        "ingest",
        "reveal",
    ]


@pytest.mark.parametrize("harm", ["edit", "delete", "swap", "cut"])
@pytest.mark.parametrize("number", range(4))
def test_every_edit_deletion_and_reorder_of_the_audit_is_found(ward: MakeWard, harm: str, number: int):
    store = ward(WARD)
    from pipeline.store import audit
    from pipeline.store.layout import open_store

    for count in range(4):
        audit.record(open_store(store, create=False), "reveal", references=count)
    path = store / "audit.jsonl"
    lines = path.read_text().splitlines(keepends=True)
    match harm:
        case "edit":
            lines[number] = lines[number].replace("Z", "Y", 1)
        case "delete":
            del lines[number]
        case "swap":
            lines[number], lines[number + 1] = lines[number + 1], lines[number]
        case "cut":
            del lines[number + 1 :]
    path.write_text("".join(lines))
    result = run("audit", "verify", "--store", store)
    assert result.exit_code == 7
    assert "audit.jsonl" in result.stdout


def test_a_line_that_cannot_be_read_is_a_fault_and_does_not_hide_the_others(ward: MakeWard):
    store = ward(WARD)
    path = store / "audit.jsonl"
    path.write_text(path.read_text() + "nonsense\n")
    assert run("audit", "verify", "--store", store).exit_code == 7
    assert len(answer("audit", "show", "--store", store)["lines"]) == 2


def test_a_record_taken_away_is_found_and_stays_found(ward: MakeWard):
    store = ward(WARD)
    for name in ("audit.jsonl", "audit.head"):
        (store / name).unlink()
    assert run("audit", "verify", "--store", store).exit_code == 7
    assert run("trace", "--store", store, "--unit", "u1", "--reveal", "--reason", "check").exit_code == 0
    assert run("audit", "verify", "--store", store).exit_code == 7
