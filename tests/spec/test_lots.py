"""Whom a lot reached: the answer to a recall."""

from __future__ import annotations

from ward_records import episodes

MODEL = "facts.lots"


def test_a_row_for_each_patient_that_a_fitting_of_the_lot_served(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-03 08:00",
                "p2 | u1 | Birch | 03-03 10:00 | 03-05 08:00",
                "p2 | u1 | Birch | 03-05 09:00 | 03-06 08:00",
            ),
            "part_changes": """
                unit_id | part    | fitted_at   | removed_at  | lot | item_id
                u1      | circuit | 03-01 08:00 | 03-06 08:00 | 007 | i1""",
        },
        model=MODEL,
        expect="""
            lot | item_id | part    | unit_id | ward  | patient_key | fitted_at   | ended_at
            007 | i1      | circuit | u1      | Birch | p1          | 03-01 08:00 | 03-06 08:00
            007 | i1      | circuit | u1      | Birch | p2          | 03-01 08:00 | 03-06 08:00""",
    )


def test_fittings_without_a_lot_or_that_served_nobody_are_not_listed(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-03 08:00"),
            "part_changes": """
                unit_id | part    | fitted_at   | removed_at  | lot
                u1      | circuit | 03-01 08:00 | 03-02 08:00 |
                u1      | circuit | 03-02 08:00 |             | 008
                u2      | circuit | 03-02 08:00 |             | 009""",
        },
        model=MODEL,
        expect="lot | patient_key\n 008 | p1",
    )


def test_two_fittings_of_one_lot_are_two_rows(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-03 08:00"),
            "part_changes": """
                unit_id | part    | fitted_at   | lot
                u1      | circuit | 03-01 08:00 | 007
                u1      | circuit | 03-02 08:00 | 007""",
        },
        model=MODEL,
        expect="fitted_at | ended_at\n 03-01 08:00 | 03-02 08:00\n 03-02 08:00 | 03-03 08:00",
    )
