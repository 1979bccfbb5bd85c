"""Recalls of lots, through the command line."""

from __future__ import annotations

from pathlib import Path

import pytest
from traced_ward import MakeWard, answer, run

WARD = {
    "episodes": [
        "ref-a | u1 | Alder | 03-02 08:00 | 03-05 08:00",
        "ref-b | u1 | Birch | 03-06 08:00 | 03-07 08:00",
        "ref-c | u2 | Cedar | 03-06 08:00 |",
    ],
    "disinfections": ["u1 | c1 | 03-05 09:00 | 03-05 10:00 | passed"],
    "part_changes": [
        "u1 | | circuit | 03-02 07:00 | | Lot-7 | CIR",
        "u2 | | circuit | 03-06 07:00 | | lot-7 | CIR",
        "u3 | | circuit | 03-06 09:00 | | LOT-7 | CIR",
        "u1 | | circuit | 03-06 07:00 | | LOT-8 | CIR",
    ],
    "stock_moves": [
        "m1 | CIR | 03-01 08:00 | receipt | 20 | central | LOT-7",
        "m2 | CIR | 03-01 09:00 | issue | 6 | Alder | lot-7",
        "m3 | CIR | 03-01 10:00 | return | 1 | Alder | LOT-7",
        "m4 | CIR | 03-01 11:00 | write_off | 2 | central | LOT-7",
        "m5 | CIR | 03-01 12:00 | issue | 3 | Alder | LOT-8",
        "m6 | CIR | 03-01 13:00 | count | 99 | central |",
    ],
}


def test_a_lot_leads_to_its_patients_units_and_wards(ward: MakeWard):
    found = answer("recall", "--store", ward(WARD), "--lot", " lot-7 ")
    used = [
        (use["units"], use["wards"], use["first_used_at"][5:10], use["last_used_at"], use["on"])
        for use in found["uses"] if use["patient_key"]
    ]  # fmt: skip
    assert used == [
        (["u1"], ["Alder"], "03-02", "2026-03-05T08:00:00Z", False),
        (["u2"], ["Cedar"], "03-06", None, True),
    ]
    assert found["patients"] == 2


def test_every_use_says_in_which_row_it_stands(ward: MakeWard):
    found = answer("recall", "--store", ward(WARD), "--lot", "LOT-7")
    assert [use["rows"][0]["row"] for use in found["uses"]] == [2, 3, 4]
    assert {use["rows"][0]["file"] for use in found["uses"]} == {"part_changes.csv"}


def test_a_piece_fitted_and_not_used_is_listed_too(ward: MakeWard):
    found = answer("recall", "--store", ward(WARD), "--lot", "LOT-7")
    fitted = [use for use in found["uses"] if not use["patient_key"]]
    assert [(use["units"], use["on"], use["unplaced"]) for use in fitted] == [(["u3"], True, False)]


def test_a_patient_whom_only_the_fitting_names_is_listed_too(ward: MakeWard):
    lost = {
        **WARD,
        "part_changes": [*WARD["part_changes"], " | ref-z | circuit | 03-06 07:00 | | LOT-7 | CIR"],
    }
    found = answer("recall", "--store", ward(lost), "--lot", "LOT-7")
    assert found["patients"] == 3
    assert [(bool(use["patient_key"]), use["unplaced"]) for use in found["uses"] if not use["units"]] == [
        (True, True)
    ]


def test_what_remains_is_what_came_in_less_what_left(ward: MakeWard):
    stock = answer("recall", "--store", ward(WARD), "--lot", "LOT-7")["stock"][0]
    assert [stock[name] for name in ("received", "issued", "returned", "written_off", "remaining")] == [
        20,
        6,
        1,
        2,
        13,
    ]


@pytest.mark.parametrize(("counted_at", "remaining"), [("03-01 08:30", 23), ("03-01 12:00", 30)])
def test_a_count_of_the_lot_stands_for_all_moves_before_it(ward: MakeWard, counted_at: str, remaining: int):
    counted = {
        **WARD,
        "stock_moves": [*WARD["stock_moves"], f"m9 | CIR | {counted_at} | count | 30 | central | LOT-7"],
    }
    assert answer("recall", "--store", ward(counted), "--lot", "LOT-7")["stock"][0]["remaining"] == remaining


def test_when_more_left_than_came_in_the_rest_must_be_counted(ward: MakeWard):
    older = {**WARD, "stock_moves": WARD["stock_moves"][1:2]}
    store = ward(older)
    assert answer("recall", "--store", store, "--lot", "LOT-7")["stock"][0]["remaining"] is None
    assert "must be counted" in run("recall", "--store", store, "--lot", "LOT-7").stdout


def test_a_ward_shows_what_it_was_issued_and_what_was_fitted_there(ward: MakeWard):
    places = answer("recall", "--store", ward(WARD), "--lot", "LOT-7")["places"]
    assert [(p["ward"], p["issued"], p["returned"], p["fitted"], p["unaccounted"]) for p in places] == [
        ("", 0, 0, 1, -1), ("Alder", 6, 1, 1, 4), ("Cedar", 0, 0, 1, -1),
    ]  # fmt: skip


def test_rows_in_quarantine_that_name_the_lot_are_counted(ward: MakeWard):
    torn = {**WARD, "part_changes": [*WARD["part_changes"], "u1 | | tube | 03-06 07:00 | | lot-7 | CIR"]}
    store = ward(torn)
    assert answer("recall", "--store", store, "--lot", "LOT-7")["quarantined"] == 1
    assert "1 row in quarantine" in run("recall", "--store", store, "--lot", "LOT-7").stdout


def test_a_lot_only_in_stock_is_found_and_an_unknown_one_is_not(ward: MakeWard):
    only = {
        **WARD,
        "stock_moves": [*WARD["stock_moves"], "m8 | CIR | 03-02 08:00 | receipt | 5 | central | LOT-9"],
    }
    store = ward(only)
    found = answer("recall", "--store", store, "--lot", "lot-9")
    assert (found["uses"], found["stock"][0]["remaining"]) == ([], 5)
    assert run("recall", "--store", store, "--lot", "LOT-").exit_code == 5


def test_the_list_is_ready_for_a_letter(ward: MakeWard, tmp_path: Path):
    result = run("recall", "--store", ward(WARD), "--lot", "LOT-7", "--to", tmp_path / "out")
    assert result.exit_code == 0
    page = (tmp_path / "out/recall-LOT-7.html").read_text("utf-8")
    assert "Check the records of each person named" in page
    assert "On record with 2 patients, on 2 units of 2 wards." in page
    rows = (tmp_path / "out/recall-LOT-7-patients.csv").read_text("utf-8").splitlines()
    assert len(rows) == 3


LABEL = "(01)09506000134352(17)271231(10)LOT-7"


@pytest.mark.parametrize("named", [LABEL, "lot-7"])
def test_a_lot_is_found_by_its_label_and_where_the_record_has_one(ward: MakeWard, named):
    labelled = {**WARD, "part_changes": [row.replace("lot-7", LABEL) for row in WARD["part_changes"]]}
    found = answer("recall", "--store", ward(labelled), "--lot", named)
    assert (found["patients"], len(found["uses"])) == (2, 3)


def test_a_label_in_quarantine_that_holds_the_lot_is_counted(ward: MakeWard):
    misread = LABEL.replace("352(", "353(")
    rows = [*WARD["part_changes"], f"u2 | | circuit | 03-07 07:00 | | {misread} | CIR"]
    found = answer("recall", "--store", ward({**WARD, "part_changes": rows}), "--lot", "LOT-7")
    assert found["quarantined"] == 1
