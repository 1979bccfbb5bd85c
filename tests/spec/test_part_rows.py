"""Whose part it was, where a row leaves out the unit or the patient."""

from __future__ import annotations

import pytest
from ward_records import episodes, parts

MODEL = "facts.part_rows"


@pytest.mark.parametrize(
    ("fitted_at", "unit"),
    [
        ("03-01 05:59:59", ""),
        ("03-01 06:00", "u1"),
        ("03-02 05:59:59", "u1"),
        ("03-02 06:00", "u2"),
        ("03-02 08:00", "u2"),
        ("03-20 08:00", "u2"),
    ],
)
def test_a_unit_part_belongs_to_the_unit_of_its_patients_latest_episode_at_that_time(spec, fitted_at, unit):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00",
                "p1 | u2 | Alder | 03-02 08:00 |",
                "p2 | u3 | Alder | 03-02 08:00 |",
            ),
            "part_changes": parts(f"| p1 | circuit | {fitted_at} |"),
        },
        model=MODEL,
        expect=f"patient_key | unit_id\n p1 | {unit}",
    )


@pytest.mark.parametrize(
    ("fitted_at", "patient"),
    [
        ("03-01 05:59:59", "p1"),
        ("03-02 05:59:59", "p1"),
        ("03-02 06:00", "p2"),
        ("03-03 08:00", "p3"),
        ("03-08 08:00", "p3"),
    ],
)
def test_a_patient_part_belongs_to_the_patient_of_the_latest_episode_else_of_the_next(
    spec, fitted_at, patient
):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 07:00",
                "p2 | u1 | Alder | 03-02 08:00 | 03-03 08:00",
                "p3 | u1 | Alder | 03-03 12:00 |",
                "p4 | u2 | Alder | 03-02 08:00 |",
            ),
            "part_changes": parts(f"u1 | | interface | {fitted_at} |"),
        },
        model=MODEL,
        expect=f"unit_id | patient_key\n u1 | {patient}",
    )


def test_of_two_patients_to_come_the_first_counts(spec):
    spec(
        given={
            "episodes": episodes(
                "p2 | u1 | Alder | 03-05 08:00 | 03-05 12:00", "p1 | u1 | Alder | 03-05 13:00 | 03-06 08:00"
            ),
            "part_changes": parts("u1 | | interface | 03-05 00:00 |"),
        },
        model=MODEL,
        expect="patient_key\n p2",
    )


def test_what_a_row_does_not_need_is_not_looked_up(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00"),
            "part_changes": parts(
                "u1 | | circuit | 03-01 03:00 |",
                "u1 | | circuit | 03-01 09:00 |",
                "| p1 | interface | 03-01 09:00 |",
            ),
        },
        model=MODEL,
        expect="part | unit_id | patient_key\n circuit | u1 |\n circuit | u1 |\n interface | | p1",
    )


def test_what_a_row_says_itself_stands(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00"),
            "part_changes": parts("u2 | p1 | circuit | 03-01 09:00 |", "u1 | p2 | interface | 03-01 09:00 |"),
        },
        model=MODEL,
        expect="part | unit_id | patient_key\n circuit | u2 | p1\n interface | u1 | p2",
    )
