"""Which episodes on a unit belong together as one patient's stay."""

from __future__ import annotations

import pytest
from ward_records import cycles, episodes

MODEL = "facts.patient_stays"


def test_a_break_up_to_the_stay_gap_leaves_one_stay_and_a_longer_one_makes_two(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00",
                "p1 | u1 | Alder | 03-03 08:00 | 03-04 08:00",
                "p1 | u2 | Alder | 03-01 08:00 | 03-02 08:00",
                "p1 | u2 | Alder | 03-03 08:00:01 | 03-04 08:00",
            )
        },
        model=MODEL,
        expect="""
            unit_id | stay_no | started_at     | ended_at
            u1      | 1       | 03-01 08:00    | 03-04 08:00
            u2      | 1       | 03-01 08:00    | 03-02 08:00
            u2      | 2       | 03-03 08:00:01 | 03-04 08:00""",
    )


def test_the_break_is_measured_from_the_latest_end_so_far(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-10 08:00",
                "p1 | u1 | Alder | 03-02 08:00 | 03-03 08:00",
                "p1 | u1 | Alder | 03-11 08:00 | 03-11 09:00",
            )
        },
        model=MODEL,
        expect="stay_no | ended_at\n 1 | 03-11 09:00",
    )


def test_a_stay_ends_with_the_latest_of_its_episodes(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-10 08:00", "p1 | u1 | Birch | 03-02 08:00 | 03-03 08:00"
            )
        },
        model=MODEL,
        expect="ward | ended_at\n Birch | 03-10 08:00",
    )


def test_another_patient_between_makes_a_new_stay(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 09:00",
                "p2 | u1 | Alder | 03-01 10:00 | 03-01 11:00",
                "p1 | u1 | Alder | 03-01 12:00 | 03-01 13:00",
            )
        },
        model=MODEL,
        expect="""
            stay_no | patient_key | started_at
            1       | p1          | 03-01 08:00
            2       | p2          | 03-01 10:00
            3       | p1          | 03-01 12:00""",
    )


@pytest.mark.parametrize(
    ("cycle", "stays"),
    [
        ("03-02 07:50 | 03-02 08:30 | passed", 2),
        ("03-02 07:49:59 | 03-02 08:30 | passed", 1),
        ("03-02 09:30 | 03-02 10:10 | passed", 2),
        ("03-02 09:30 | 03-02 10:10:01 | passed", 1),
        ("03-02 08:30 | 03-02 09:30 | failed", 1),
        ("03-02 08:30 | | passed", 1),
    ],
    ids=[
        "clock slack before",
        "one second more",
        "clock slack after",
        "one second later",
        "failed",
        "no end",
    ],
)
def test_a_valid_cycle_between_makes_a_new_stay(spec, cycle, stays):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00", "p1 | u1 | Alder | 03-02 10:00 | 03-03 08:00"
            ),
            "disinfections": cycles(f"u1 | {cycle}"),
        },
        # Without it the charted end would move back to the cycle.
        rules="charting_slack_min = 0",
        model="facts.patient_stays",
        expect="stay_no\n" + "\n".join(str(number) for number in range(1, stays + 1)),
    )


def test_a_stay_is_open_when_its_last_episode_is_and_has_that_ones_ward(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00", "p1 | u1 | Birch | 03-02 20:00 |"
            )
        },
        model=MODEL,
        expect="ward | started_at | ended_at\n Birch | 03-01 08:00 |",
    )


def test_a_stay_is_overlapping_when_any_of_its_episodes_is(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00",
                "p1 | u1 | Alder | 03-02 09:00 | 03-03 08:00",
                "p2 | u1 | Alder | 03-02 20:00 | 03-05 08:00",
                "p3 | u1 | Alder | 03-06 08:00 | 03-07 08:00",
            )
        },
        model=MODEL,
        expect="""
            stay_no | patient_key | overlapping
            1       | p1          | true
            2       | p2          | true
            3       | p3          | false""",
    )


def test_of_two_that_start_together_the_patient_decides_the_order(spec):
    spec(
        given={
            "episodes": episodes(
                "p2 | u1 | Alder | 03-01 08:00 | 03-01 09:00", "p1 | u1 | Alder | 03-01 08:00 | 03-01 10:00"
            )
        },
        model=MODEL,
        expect="stay_no | patient_key\n 1 | p1\n 2 | p2",
    )
