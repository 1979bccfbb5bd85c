"""Runs of patients on one unit between whom no valid disinfection is known."""

from __future__ import annotations

import pytest
from ward_records import cycles, episodes, sessions

MODEL = "facts.exposure_chains"
MARCH = '[coverage]\ndisinfections = ["2026-03"]'
CHAIN = "unit_id | chain_no | position | patient_key"


def stays(unit: str, *patients: str, first_day: int = 1) -> list[str]:
    """Each patient's stay lasts a day, from 08:00, and the next one starts a day later."""
    return [
        f"{patient} | {unit} | Alder | 03-{day:02} 08:00 | 03-{day + 1:02} 08:00"
        for day, patient in zip(range(first_day, 30, 2), patients, strict=False)
    ]


def test_unrecorded_changeovers_link_stays_and_a_disinfected_one_begins_a_new_chain(spec):
    spec(
        given={
            "episodes": episodes(*stays("u1", "p1", "p2", "p3", "p4", "p5", "p6")),
            "disinfections": cycles(
                "u1 | 03-06 09:00 | 03-06 10:00 | passed", "u1 | 03-10 09:00 | 03-10 10:00 | passed"
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect=f"""
            {CHAIN}     | started_at  | ended_at
            u1 | 1 | 1 | p1 | 03-01 08:00 | 03-02 08:00
            u1 | 1 | 2 | p2 | 03-03 08:00 | 03-04 08:00
            u1 | 1 | 3 | p3 | 03-05 08:00 | 03-06 08:00
            u1 | 2 | 1 | p4 | 03-07 08:00 | 03-08 08:00
            u1 | 2 | 2 | p5 | 03-09 08:00 | 03-10 08:00""",
    )


def test_an_invalid_cycle_and_uncharted_use_link_too(spec):
    spec(
        given={
            "episodes": episodes(*stays("u1", "p1", "p2"), *stays("u2", "p1", "p2")),
            "disinfections": cycles(
                "u1 | 03-02 09:00 | 03-02 10:00 | failed", "u2 | 03-02 09:00 | 03-02 10:00 | passed"
            ),
            "usage_sessions": sessions("u2 | 03-02 12:00 | 03-02 13:00 | 30 |"),
        },
        model=MODEL,
        expect=f"{CHAIN}\n u1 | 1 | 1 | p1\n u1 | 1 | 2 | p2\n u2 | 1 | 1 | p1\n u2 | 1 | 2 | p2",
    )


def test_storage_that_failed_or_is_unproven_links_nothing(spec):
    spec(
        given={
            "episodes": episodes(*stays("u1", "p1", "p2", "p3")),
            "disinfections": cycles(
                "u1 | 03-02 09:00 | 03-02 10:00 | passed", "u1 | 03-04 20:00 | 03-04 21:00 | passed"
            ),
        },
        rules="max_storage_days = 0.75\nrequire_storage_proof = true",
        model=MODEL,
        expect="chain_no",
    )


def test_nothing_is_linked_where_nothing_can_be_said(spec):
    spec(
        given={
            "episodes": episodes(
                *stays("u1", "p1", "p2"),
                "p3 | u2 | Alder | 03-01 08:00 | 03-03 08:00",
                "p4 | u2 | Alder | 03-02 08:00 | 03-04 08:00",
            ),
            "disinfections": cycles("u9 | 03-02 08:01 | | passed"),
        },
        model=MODEL,
        expect="chain_no",
    )


def test_a_count_that_rose_links_nothing(spec):
    spec(
        given={
            "episodes": episodes(*stays("u1", "p1", "p2")),
            "count_readings": "unit_id | read_at | cycle_count\n u1 | 03-02 08:00 | 5\n u1 | 03-02 12:00 | 6",
        },
        rules=MARCH,
        model=MODEL,
        expect="chain_no",
    )


def test_the_same_patients_return_goes_on_with_the_chain_unless_a_valid_cycle_lies_between(spec):
    spec(
        given={
            "episodes": episodes(*stays("u1", "p1", "p1", "p2"), *stays("u2", "p1", "p1", "p2")),
            "disinfections": cycles(
                "u1 | 03-02 09:00 | 03-02 10:00 | failed", "u2 | 03-02 09:00 | 03-02 10:00 | passed"
            ),
        },
        # With a shorter gap between stays the two days of p1 are two stays.
        rules=f"stay_gap_h = 12\n{MARCH}",
        model=MODEL,
        expect=f"""
            {CHAIN} | started_at
            u1 | 1 | 1 | p1 | 03-01 08:00
            u1 | 1 | 2 | p1 | 03-03 08:00
            u1 | 1 | 3 | p2 | 03-05 08:00
            u2 | 1 | 1 | p1 | 03-03 08:00
            u2 | 1 | 2 | p2 | 03-05 08:00""",
    )


def test_one_patient_alone_is_no_chain(spec):
    spec(
        given={"episodes": episodes(*stays("u1", "p1", "p1", "p1"))},
        rules=f"stay_gap_h = 12\n{MARCH}",
        model=MODEL,
        expect="chain_no",
    )


def test_an_overlapping_return_does_not_link(spec):
    spec(
        given={
            "episodes": episodes(
                *stays("u1", "p1", "p2"),
                "p2 | u1 | Alder | 03-06 08:00 | 03-08 08:00",
                "p3 | u1 | Alder | 03-07 08:00 | 03-09 08:00",
            )
        },
        rules=MARCH,
        model=MODEL,
        expect=f"{CHAIN}\n u1 | 1 | 1 | p1\n u1 | 1 | 2 | p2",
    )


@pytest.mark.parametrize(
    ("cycle", "linked"),
    [
        ("03-02 07:50 | 03-02 09:00", False),
        ("03-02 07:49:59 | 03-02 09:00", True),
        ("03-03 07:00 | 03-03 08:10", False),
        ("03-03 07:00 | 03-03 08:10:01", True),
    ],
)
def test_a_cycle_lies_between_the_same_patients_stays_within_the_clocks_tolerance(spec, cycle, linked):
    first = "\n u1 | 1 | p1 | 03-01 08:00\n u1 | 2 | p1 | 03-03 08:00\n u1 | 3 | p2 | 03-05 08:00"
    later = "\n u1 | 1 | p1 | 03-03 08:00\n u1 | 2 | p2 | 03-05 08:00"
    spec(
        given={
            "episodes": episodes(*stays("u1", "p1", "p1", "p2")),
            "disinfections": cycles(f"u1 | {cycle} | passed"),
        },
        rules=f"stay_gap_h = 12\ncharting_slack_min = 0\n{MARCH}",
        model=MODEL,
        expect=f"unit_id | position | patient_key | started_at{first if linked else later}",
    )
