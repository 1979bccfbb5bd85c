"""The history of a unit and its blank log sheet, through the command line."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

from traced_ward import MakeWard, answer, run

from pipeline.tracing.unit_history import CountCheck, Misread, misreads

WARD = {
    "units": ["u1 | Alder | 2024-01-01 |", "u2 | Alder | |"],
    "episodes": [
        "ref-a | u1 | Alder | 03-02 08:00 | 03-03 08:00",
        "ref-b | u1 | Alder | 03-04 08:00 | 03-05 08:00",
        "ref-c | u1 | Birch | 03-07 08:00 | 03-16 08:00",
    ],
    "disinfections": [
        "u1 | c0 | 03-01 08:00 | 03-01 09:00 | passed",
        "u1 | c1 | 03-06 08:00 | 03-06 09:00 | passed",
    ],
    "part_changes": [
        "u1 | | circuit | 03-02 07:00 | | L-1 | CIR",
        "u1 | | circuit | 03-07 07:00 | | L-2 | CIR",
    ],
    "unit_status": ["u1 | 03-05 10:00 | 03-05 20:00 | repair"],
    "count_readings": [
        "u1 | 03-06 10:00 | 12",
        "u1 | 03-08 10:00 | 21",
        "u1 | 03-10 10:00 | 12",
        "u1 | 03-12 10:00 | 14",
    ],
    "setup_checks": [
        "u1 | ref-a | 03-02 08:10 | name on unit | done",
        "u1 | ref-a | 03-02 08:05 | bag hung | done",
    ],
}


def history(ward: MakeWard, *more: object) -> dict:
    return answer("unit", "--store", ward(WARD), "--unit", "U1", *more)["units"][0]


def test_the_life_line_tells_every_state(ward: MakeWard):
    line = [(s["state"], s["started_at"][5:16].replace("T", " ")) for s in history(ward)["line"]]
    assert line == [
        ("cycle", "03-01 08:00"), ("gap", "03-01 09:00"), ("use", "03-02 08:00"), ("waiting", "03-03 08:00"),
        ("use", "03-04 08:00"),
        ("waiting", "03-05 08:00"), ("out", "03-05 10:00"), ("waiting", "03-05 20:00"), ("cycle", "03-06 08:00"),
        ("ready", "03-06 09:00"), ("use", "03-07 08:00"),
    ]  # fmt: skip


def test_what_stands_out_is_told_in_order(ward: MakeWard):
    told = [(remark["at"][5:10], remark["words"]) for remark in history(ward)["remarks"]]
    assert told == [
        ("03-02", "The circuit fitted then served 2 patients."),
        ("03-04", "Before this patient: no disinfection on record."),
        ("03-08", "The reading of 21 is likely misread; 12 would fit both neighbours."),
        ("03-12", "The count went from 12 to 14; 0 cycles are recorded."),
        ("03-14", "The circuit stayed on 49 h past its limit."),
    ]


def test_a_misread_names_the_count_that_would_fit():
    def check(day: int, before: int, after: int, expected: int, verdict: str) -> CountCheck:
        at = datetime(2026, 3, day), datetime(2026, 3, day + 1)
        return CountCheck(*at, before, after, expected, after - before, verdict)

    pair = [check(1, 10, 81, 8, "likely_misread"), check(2, 81, 19, 1, "likely_misread")]
    assert misreads(pair) == [Misread(datetime(2026, 3, 2), 81, 18)]
    assert misreads([pair[0], check(2, 81, 20, 1, "likely_misread")]) == []
    assert misreads([pair[0], check(2, 81, 19, 1, "rollback")]) == []


def test_a_period_limits_what_is_shown(ward: MakeWard):
    found = history(ward, "--from", "2026-03-06", "--until", "2026-03-06")
    assert (len(found["steps"]), len(found["cycles"]), found["line"][0]["started_at"]) == (
        0,
        1,
        "2026-03-06T00:00:00Z",
    )
    assert run("unit", "--store", ward(WARD), "--unit", "u1", "--until", "2026-02-01").exit_code == 5


def test_a_unit_that_is_only_a_name_has_no_history(ward: MakeWard):
    result = run("unit", "--store", ward(WARD), "--unit", "u2")
    assert result.exit_code == 5
    assert run("unit", "--store", ward(WARD), "--unit", "u7").exit_code == 5


def test_the_page_shows_the_register_the_picture_and_the_lists(ward: MakeWard, tmp_path: Path):
    result = run("unit", "--store", ward(WARD), "--unit", "u1", "--to", tmp_path / "out")
    assert result.exit_code == 0
    page = (tmp_path / "out/unit-TARN-u1.html").read_text("utf-8")
    assert "Ward Alder, in service since 2024-01-01." in page
    assert "likely misread" in page
    assert re.search(
        r"<title>used and not disinfected since: 2026-03-03 08:00 UTC to 2026-03-04 08:00 UTC</title>", page
    )
    assert "It is not an infection" in page
    assert "ref-" not in page


def test_the_blank_sheet_has_the_sites_own_steps_in_their_order(ward: MakeWard, tmp_path: Path):
    result = run("unit", "--store", ward(WARD), "--unit", "u2", "--blank-sheet", "--to", tmp_path / "out")
    assert result.exit_code == 0
    page = (tmp_path / "out/log-sheet-TARN-u2.html").read_text("utf-8")
    assert page.index("bag hung") < page.index("name on unit")
    assert "circuit, interface, water bag" in page
    assert ">u2<" in page


def test_a_blank_sheet_needs_no_unit_and_no_steps(ward: MakeWard, tmp_path: Path):
    bare = {name: rows for name, rows in WARD.items() if name != "setup_checks"}
    result = run("unit", "--store", ward(bare), "--blank-sheet", "--to", tmp_path / "out")
    assert result.exit_code == 0
    assert "no steps of its own yet" in (tmp_path / "out/log-sheet-TARN.html").read_text("utf-8")


def test_what_is_missing_from_the_question_is_said(ward: MakeWard):
    store = ward(WARD)
    assert run("unit", "--store", store).exit_code == 2
    assert run("unit", "--store", store, "--unit", "u1", "--blank-sheet").exit_code == 2
