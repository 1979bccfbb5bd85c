"""Traces of hand-made wards, through the command line."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import pytest
from traced_ward import MakeWard, answer, run

#: A on u1, then B without a cycle, then C after a valid one; A again on u2, and D there after a failed cycle.
WARD = {
    "episodes": [
        "ref-a | u1 | Alder | 03-02 08:00 | 03-03 08:00",
        "ref-b | u1 | Alder | 03-04 08:00 | 03-05 08:00",
        "ref-c | u1 | Birch | 03-07 08:00 | 03-08 08:00",
        "ref-a | u2 | Cedar | 03-10 08:00 | 03-11 08:00",
        "ref-d | u2 | Cedar | 03-12 08:00 | 03-13 08:00",
    ],
    "disinfections": [
        "u1 | c0 | 03-01 08:00 | 03-01 09:00 | passed",
        "u1 | c1 | 03-06 08:00 | 03-06 09:00 | passed",
        "u2 | c2 | 03-11 12:00 | 03-11 13:00 | failed",
        "u2 | c3 | 03-13 12:00 | 03-13 13:00 | passed",
    ],
}


def links_of(document: dict) -> list[tuple]:
    return [
        (link["direction"], link["met"]["unit_id"], link["met"]["started_at"][5:10], *link["proofs"])
        for link in document["links"]
        if link["judged"]
    ]


def in_doubt(document: dict) -> list[tuple]:
    return [
        (link["direction"], link["met"]["started_at"][5:10], *link["proofs"])
        for link in document["links"]
        if not link["judged"]
    ]


def test_a_patient_is_followed_over_all_units(ward: MakeWard):
    found = answer("trace", "--store", ward(WARD), "--patient", "ref-a")
    assert links_of(found) == [
        ("later", "u1", "03-04", "no_record"),
        ("later", "u2", "03-12", "invalid_cycle"),
    ]
    assert (found["patients_linked"], found["patients_not_judged"], len(found["stays"])) == (2, 0, 2)


def test_the_window_of_exposure_spans_the_linked_stays_and_is_open_while_one_lasts(ward: MakeWard):
    store = ward(WARD)
    found = answer("trace", "--store", store, "--patient", "ref-a")
    met = [link["met"] for link in found["links"]]
    assert found["exposure"] == {"from": met[0]["started_at"], "until": max(stay["ended_at"] for stay in met)}
    early = answer("trace", "--store", store, "--patient", "ref-a", "--as-of", "2026-03-04T12:00:00Z")
    assert early["exposure"] == {"from": met[0]["started_at"], "until": None}
    shown = run("trace", "--store", store, "--patient", "ref-a", "--as-of", "2026-03-04T12:00:00Z").stdout
    assert "The window of exposure: 2026-03-04 " in shown
    assert "to now (still on)." in shown
    nobody = answer("trace", "--store", store, "--patient", "ref-a", "--as-of", "2026-03-03T00:00:00Z")
    assert nobody["exposure"] is None


def test_a_patient_is_followed_back(ward: MakeWard):
    found = answer("trace", "--store", ward(WARD), "--patient", "ref-d")
    assert links_of(found) == [("earlier", "u2", "03-10", "invalid_cycle")]


def test_a_reference_is_found_whatever_its_case_and_blanks_and_so_is_a_key(ward: MakeWard):
    store = ward(WARD)
    first = answer("trace", "--store", store, "--patient", " REF-A ")
    key = first["stays"][0]["patient_key"]
    assert links_of(answer("trace", "--store", store, "--patient", key)) == links_of(first)


def test_a_reference_can_come_from_standard_input(ward: MakeWard):
    result = run("trace", "--store", ward(WARD), "--patient", "-", typed="ref-a\n")
    assert result.exit_code == 0
    assert "2 patients linked on 2 units" in result.stdout


def test_merged_references_are_one_patient(ward: MakeWard):
    merged = {**WARD, "patient_merges": ["ref-a | ref-b"]}
    found = answer("trace", "--store", ward(merged), "--patient", "ref-a")
    assert links_of(found) == [("later", "u2", "03-12", "invalid_cycle")]
    # A day apart and no cycle between: the first two episodes are one stay.
    assert [(stay["started_at"][5:10], len(stay["rows"])) for stay in found["stays"]] == [
        ("03-02", 2),
        ("03-10", 1),
    ]


def test_a_reference_is_looked_up_at_every_site(ward: MakeWard):
    ward(WARD)
    store = ward(
        {table: [row.replace("u1", "u7") for row in rows] for table, rows in WARD.items()}, site="TOWN"
    )
    found = answer("trace", "--store", store, "--patient", "ref-a")
    assert {stay["site_id"] for stay in found["stays"]} == {"TARN", "TOWN"}
    assert len({stay["patient_key"] for stay in found["stays"]}) == 2
    assert found["patients_linked"] == 4
    assert answer("trace", "--store", store, "--patient", "ref-a", "--site", "town")["patients_linked"] == 2


def test_every_link_says_in_which_rows_it_stands(ward: MakeWard):
    link = answer("trace", "--store", ward(WARD), "--patient", "ref-d")["links"][0]
    assert [(row["file"], row["row"]) for row in link["met"]["rows"]] == [("episodes.csv", 5)]
    assert [(row["file"], row["row"]) for row in link["asked"]["rows"]] == [("episodes.csv", 6)]
    (cycle,) = link["across"][0]["cycles"]
    assert (cycle["cycle_ref"], cycle["invalid_reason"], cycle["rows"][0]["row"]) == ("c2", "failed", 4)
    assert re.fullmatch("[0-9a-f]{64}", cycle["rows"][0]["sha256"])


def test_a_unit_shows_all_its_links(ward: MakeWard):
    found = answer("trace", "--store", ward(WARD), "--unit", "U1")
    assert links_of(found) == [("later", "u1", "03-04", "no_record")]
    assert len(found["stays"]) == 3


def test_a_period_limits_who_is_asked_about_and_not_who_is_linked(ward: MakeWard):
    store = ward(WARD)
    found = answer("trace", "--store", store, "--unit", "u1", "--from", "2026-03-04", "--until", "2026-03-04")
    assert len(found["stays"]) == 1
    assert links_of(found) == [("earlier", "u1", "03-02", "no_record")]
    nothing = run("trace", "--store", store, "--unit", "u1", "--until", "2026-03-01")
    assert nothing.exit_code == 5


def test_a_cycle_in_doubt_is_left_out(ward: MakeWard):
    found = answer("trace", "--store", ward(WARD), "--cycle", "C1")
    assert links_of(found) == [
        ("later", "u1", "03-07", "invalid_cycle"),
        ("earlier", "u1", "03-02", "no_record"),
    ]
    assert found["judged_otherwise"] == [
        "The cycle of 2026-03-06T08:00:00Z on unit u1 (TARN) counts as not good."
    ]
    assert found["links"][0]["across"][0]["cycles"][0]["invalid_reason"] == "left_out"


@pytest.mark.parametrize("named", ["c1", "u1@2026-03-06T08:00:00Z", "2026-03-06T09:00:00+01:00"])
def test_a_trace_can_be_judged_without_a_cycle_and_nothing_of_it_stays(ward: MakeWard, named: str):
    store = ward(WARD)
    before = {path: path.read_bytes() for path in store.rglob("*") if path.is_file()}
    found = answer("trace", "--store", store, "--patient", "ref-a", "--without-cycle", named)
    assert ("later", "u1", "03-07", "no_record", "invalid_cycle") in links_of(found)
    assert {path: path.read_bytes() for path in store.rglob("*") if path.is_file()} == before
    assert len(links_of(answer("trace", "--store", store, "--patient", "ref-a"))) == 2


def test_a_start_that_cycles_of_two_units_share_must_name_the_unit(ward: MakeWard):
    shared = {
        **WARD,
        "disinfections": [*WARD["disinfections"], "u2 | c9 | 03-06 08:00 | 03-06 09:00 | passed"],
    }
    result = run("trace", "--store", ward(shared), "--cycle", "2026-03-06T08:00:00Z")
    assert result.exit_code == 2
    assert "u1 (TARN), u2 (TARN)" in result.stderr


def _hot(minutes: int, temperature: float) -> list[str]:
    return [f"u1 | 03-06 08:{minute:02d} | {temperature}" for minute in range(minutes)]


@pytest.mark.parametrize(("demanded", "linked"), [(None, 1), (600, 1), (601, 2), (0, 1)])
def test_cycles_can_be_judged_by_another_a0(ward: MakeWard, demanded: int | None, linked: int):
    # Ten minutes at 80 degrees are an A0 of 600 s (ISO 15883-1).
    short = "u1 | c1 | 03-06 08:00 | 03-06 08:10 | passed"
    hot = {
        "episodes": WARD["episodes"][:3],
        "disinfections": [WARD["disinfections"][0], short],
        "cycle_temperatures": _hot(10, 80),
    }
    store = ward(hot, 'disinfection_heat = "moist"\n')
    asked = ("--min-a0", demanded) if demanded is not None else ()
    found = answer("trace", "--store", store, "--patient", "ref-a", *asked)
    assert len(links_of(found)) == linked
    assert bool(found["judged_otherwise"]) == (demanded is not None)


def test_a0_is_refused_where_the_heat_is_not_moist(ward: MakeWard):
    result = run("trace", "--store", ward(WARD), "--unit", "u1", "--min-a0", 600)
    assert result.exit_code == 2
    assert "moist" in result.stderr


def test_overlapping_stays_are_listed_and_nothing_is_concluded_across_them(ward: MakeWard):
    both = {**WARD, "episodes": [*WARD["episodes"], "ref-x | u1 | Alder | 03-04 12:00 | 03-04 20:00"]}
    found = answer("trace", "--store", ward(both), "--patient", "ref-x")
    assert links_of(found) == []
    assert in_doubt(found) == [
        ("later", "03-07", "overlap"),
        ("earlier", "03-02", "overlap"),
        ("earlier", "03-04", "overlap"),
    ]
    assert found["stays"][0]["overlapping"]


def test_a_return_from_an_overlapping_stay_passes_on_a_doubt_and_no_link(ward: MakeWard):
    both = {
        "episodes": [
            "ref-x | u1 | Alder | 03-02 08:00 | 03-02 20:00",
            "ref-a | u1 | Alder | 03-02 12:00 | 03-03 08:00",
            "ref-a | u1 | Alder | 03-05 08:00 | 03-06 08:00",
            "ref-b | u1 | Alder | 03-07 08:00 | 03-08 08:00",
        ],
        "disinfections": WARD["disinfections"][:1],
    }
    store = ward(both)
    found = answer("trace", "--store", store, "--patient", "ref-x")
    assert (links_of(found), [link[1] for link in in_doubt(found)]) == ([], ["03-02", "03-05", "03-07"])
    first_stay = answer("trace", "--store", store, "--patient", "ref-a", "--until", "2026-03-03")
    assert ("later", "03-07", "overlap") in in_doubt(first_stay)


@pytest.mark.parametrize(("ends", "linked"), [("08:10", 0), ("08:11", 1)])
def test_a_cycle_that_ends_in_the_same_patients_next_stay_disinfects_within_the_slack_only(
    ward: MakeWard, ends: str, linked: int
):
    back = {
        "episodes": [
            "ref-b | u1 | Alder | 03-02 08:00 | 03-02 20:00",
            "ref-a | u1 | Alder | 03-03 08:00 | 03-03 20:00",
            "ref-a | u1 | Alder | 03-05 08:00 | 03-06 08:00",
            "ref-c | u1 | Alder | 03-06 20:00 | 03-08 08:00",
        ],
        "disinfections": [WARD["disinfections"][0], f"u1 | c1 | 03-05 07:30 | 03-05 {ends} | passed"],
    }
    found = answer("trace", "--store", ward(back), "--patient", "ref-b")
    assert [link[2] for link in links_of(found)] == ["03-03", "03-05", "03-06"][: 1 + 2 * linked]


def test_months_never_exported_are_in_doubt_and_not_cleared(ward: MakeWard):
    later = {
        "episodes": [
            "ref-a | u1 | Alder | 04-02 08:00 | 04-03 08:00",
            "ref-b | u1 | Alder | 04-04 08:00 | 04-05 08:00",
            "ref-c | u1 | Alder | 06-07 08:00 | 06-08 08:00",
        ],
        "disinfections": [
            "u1 | c1 | 03-06 08:00 | 03-06 09:00 | passed",
            "u1 | c2 | 06-06 08:00 | 06-06 09:00 | passed",
        ],
    }
    found = answer("trace", "--store", ward(later), "--patient", "ref-a")
    assert links_of(found) == []
    assert in_doubt(found) == [("later", "04-04", "not_assessable")]
    assert found["patients_not_judged"] == 1


def test_a_count_that_rose_without_a_record_is_left_to_people(ward: MakeWard):
    counted = {**WARD, "count_readings": ["u1 | 03-03 07:00 | 10", "u1 | 03-04 07:00 | 11"]}
    assert in_doubt(answer("trace", "--store", ward(counted), "--patient", "ref-a"))[0] == (
        "later", "03-04", "counter_only",
    )  # fmt: skip


def test_use_with_nobody_on_record_is_shown_with_its_rows(ward: MakeWard):
    used = {**WARD, "usage_sessions": ["u1 | 03-06 12:00 | 03-06 12:30 | 30"]}
    found = answer("trace", "--store", ward(used), "--patient", "ref-c")
    assert links_of(found)[-1] == ("earlier", "u1", "03-04", "uncharted_use")
    use = found["links"][-1]["across"][-1]["logged_use"]
    assert (use["started_at"], use["ended_at"], use["minutes"]) == (
        "2026-03-06T12:00:00Z",
        "2026-03-06T12:30:00Z",
        30,
    )
    assert [(first["file"], first["row"], last["row"]) for first, last in use["rows"]] == [
        ("usage_sessions.csv", 2, 2)
    ]


def test_a_lot_leads_to_the_stays_it_served(ward: MakeWard):
    parts = {
        **WARD,
        "part_changes": ["u1 | | circuit | 03-02 07:00 | | L-1 |", "u2 | | circuit | 03-12 07:00 | | L-2 |"],
    }
    store = ward(parts)
    found = answer("trace", "--store", store, "--lot", "l-1")
    assert [stay["started_at"][5:10] for stay in found["stays"]] == ["03-02", "03-04"]
    assert links_of(found) == [("later", "u1", "03-04", "no_record")]
    assert run("trace", "--store", store, "--lot", "L-9").exit_code == 5


@pytest.mark.parametrize(
    ("asked", "status", "words"),
    [
        (("--patient", "ref-nobody"), 5, "No episode of this patient"),
        (("--unit", "u9"), 5, "No unit 'u9'"),
        (("--cycle", "c9"), 5, "No disinfection cycle 'c9'"),
        (("--unit", "u1", "--lot", "L"), 2, "Name one of"),
        ((), 2, "Name one of"),
        (("--unit", "u1", "--site", "MOON"), 2, "TARN"),
        (("--unit", "u1", "--from", "2026-03-09", "--until", "2026-03-01"), 2, "does not lie before"),
    ],
)
def test_what_cannot_be_answered_is_said_in_one_line(ward: MakeWard, asked: tuple, status: int, words: str):
    result = run("trace", "--store", ward(WARD), *asked)
    assert (result.exit_code, result.stdout) == (status, "")
    assert words in result.stderr
    assert "ref-nobody" not in result.stderr
    assert result.stderr.count("\n") == 1


def test_without_the_stores_own_key_nobody_is_looked_for(ward: MakeWard):
    store = ward(WARD)
    store.with_name("store.key").write_text("0" * 64)
    result = run("trace", "--store", store, "--patient", "ref-a")
    assert result.exit_code == 8
    assert run("trace", "--store", store, "--unit", "u1").exit_code == 0


def test_the_terminal_shows_the_answer_and_the_cautions(ward: MakeWard):
    text = run("trace", "--store", ward(WARD), "--patient", "ref-a", "--without-cycle", "c1").stdout
    assert "3 patients linked on 2 units: 3 came after, 0 before" in text
    assert "for this answer only; nothing of it is stored" in text
    assert "Check the records of each person named" in text
    assert "It is not an infection" in text
    assert "ref-" not in text


def test_an_empty_list_clears_nobody(ward: MakeWard):
    text = run("trace", "--store", ward(WARD), "--patient", "ref-c").stdout
    assert "No link is on record. That clears neither a unit nor a patient." in text


def test_files_hold_the_same_answer(ward: MakeWard, tmp_path: Path):
    found = answer("trace", "--store", ward(WARD), "--unit", "u2", "--to", tmp_path / "out")
    names = sorted(Path(path).name for path in found["files"])
    assert names == [
        "trace-unit-u2-asked.csv", "trace-unit-u2-cycles.csv", "trace-unit-u2-linked.csv", "trace-unit-u2.html",
        "trace-unit-u2.xlsx",
    ]  # fmt: skip
    page = (tmp_path / "out/trace-unit-u2.html").read_text("utf-8")
    key = found["links"][0]["met"]["patient_key"]
    assert key in page
    assert "<svg" in page
    assert "Check the records of each person named" in page
    assert key in (tmp_path / "out/trace-unit-u2-linked.csv").read_text("utf-8")
    assert (tmp_path / "out/trace-unit-u2.html").stat().st_mode & 0o077 == 0


def test_the_page_needs_nothing_from_elsewhere(ward: MakeWard, tmp_path: Path):
    run("trace", "--store", ward(WARD), "--unit", "u2", "--to", tmp_path / "out")
    page = (tmp_path / "out/trace-unit-u2.html").read_text("utf-8")
    assert "default-src &#39;none&#39;" in page
    assert not re.search(r"(?:src|href)=\"(?!data:|#)", page)
    assert "<script" not in page
    assert " style=" not in page


def test_the_same_question_gives_the_same_bytes(ward: MakeWard, tmp_path: Path):
    store = ward(WARD)
    for folder in ("one", "two"):
        run("trace", "--store", store, "--patient", "ref-a", "--to", tmp_path / folder)
    one, two = (
        {path.name: path.read_bytes() for path in (tmp_path / name).iterdir()} for name in ("one", "two")
    )
    assert one == two


def test_hostile_names_stay_text(ward: MakeWard, tmp_path: Path):
    hostile = "</script><img onerror=x>=1+1"
    named = {**WARD, "episodes": [row.replace("Cedar", hostile) for row in WARD["episodes"]]}
    named["episodes"] = [row.replace("Alder", "=HYPERLINK(1)") for row in named["episodes"]]
    run("trace", "--store", ward(named), "--patient", "ref-a", "--to", tmp_path / "out")
    page = next((tmp_path / "out").glob("*.html")).read_text("utf-8")
    assert "<img" not in page
    with zipfile.ZipFile(next((tmp_path / "out").glob("*.xlsx"))) as book:
        sheets = [book.read(name) for name in book.namelist() if "sheet" in name]
    assert not any(b"<f>" in sheet or b"<hyperlink" in sheet for sheet in sheets)
    assert ",'=HYPERLINK(1)," in next((tmp_path / "out").glob("*-linked.csv")).read_text("utf-8")


def test_no_file_name_holds_a_reference(ward: MakeWard, tmp_path: Path):
    run("trace", "--store", ward(WARD), "--patient", "ref-a", "--to", tmp_path / "out")
    assert not [path for path in (tmp_path / "out").iterdir() if "ref-a" in path.name]
