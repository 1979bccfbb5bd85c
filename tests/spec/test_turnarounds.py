"""How long from the end of a stay until the unit is disinfected again."""

from __future__ import annotations

import pytest
from ward_records import cycles, episodes

MODEL = "facts.turnarounds"
MARCH = '[coverage]\ndisinfections = ["2026-03"]'
NO_SLACK = f"charting_slack_min = 0\n{MARCH}"  # without it a charted end moves back to the cycle


def one_stay(*units: str) -> list[str]:
    return [f"p1 | {unit} | Alder | 03-02 08:00 | 03-05 08:00" for unit in units]


def followed(*units: str) -> list[str]:
    return [f"p2 | {unit} | Birch | 03-06 08:00 |" for unit in units]


def test_the_turnaround_runs_from_the_stays_end_to_the_end_of_the_first_valid_cycle(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1"), *followed("u1")),
            "disinfections": cycles(
                "u1 | 03-05 09:00 | 03-05 09:30 | failed",
                "u1 | 03-05 10:00 | 03-05 11:30 | passed",
                "u1 | 03-05 12:00 | 03-05 13:30 | passed",
            ),
        },
        model=MODEL,
        expect="""
            ward | patient_key | ended_at | cycle_started_at | reprocessed_at | next_started_at | status | wait_h
            Alder | p1 | 03-05 08:00 | 03-05 10:00 | 03-05 11:30 | 03-06 08:00 | reprocessed | 2""",
    )


def test_a_cycle_may_begin_within_the_clocks_tolerance_before_the_end_and_no_time_is_below_zero(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1", "u2", "u3")),
            "disinfections": cycles(
                "u1 | 03-05 07:50 | 03-05 08:30 | passed",
                "u2 | 03-05 07:49:59 | 03-05 08:30 | passed",
                "u3 | 03-05 07:50 | 03-05 07:59 | passed",
            ),
        },
        rules=NO_SLACK,
        as_of="03-05 18:00",
        model=MODEL,
        expect="""
            unit_id | status      | turnaround_h | wait_h
            u1      | reprocessed | 0.5          | 0
            u2      | waiting     | 10           |
            u3      | reprocessed | 0            | 0""",
    )


def test_the_cycle_must_end_before_the_next_stay_within_the_clocks_tolerance(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1", "u2", "u3"), *followed("u1", "u2")),
            "disinfections": cycles(
                "u1 | 03-06 07:00 | 03-06 08:10 | passed",
                "u2 | 03-06 07:00 | 03-06 08:10:01 | passed",
                "u3 | 03-09 07:00 | 03-09 08:00 | passed",
            ),
        },
        rules=MARCH,
        as_of="03-10 00:00",
        model=MODEL,
        expect="""
            unit_id | status      | cycle_started_at | turnaround_h
            u1      | reprocessed | 03-06 07:00      | 24.167
            u2      | bypassed    |                  | 24
            u3      | reprocessed | 03-09 07:00      | 96""",
    )


def test_a_bypassed_stay_was_observed_up_to_the_next_one(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1"), *followed("u1")),
            "disinfections": cycles("u1 | 03-05 09:00 | 03-05 09:30 | failed"),
        },
        rules=MARCH,
        model=MODEL,
        expect="status | reprocessed_at | turnaround_h | wait_h\n bypassed | | 24 |",
    )


def test_a_unit_without_a_cycle_and_without_a_next_patient_is_waiting(spec):
    spec(
        given={"episodes": episodes(*one_stay("u1"))},
        rules=MARCH,
        as_of="03-06 20:00",
        model=MODEL,
        expect="status | next_started_at | turnaround_h | wait_h\n waiting | | 36 |",
    )


@pytest.mark.parametrize(
    ("first_cycle", "as_of", "status"),
    [
        ("03-05 08:00", "03-20 00:00", "waiting"),
        ("03-05 08:00:01", "03-20 00:00", "not_assessable"),
        ("03-05 08:00", "04-20 00:00", "waiting"),
        ("03-05 08:00", "05-01 00:00", "not_assessable"),
    ],
    ids=["records began", "records began later", "the month after", "records stopped"],
)
def test_a_time_that_the_records_do_not_reach_is_not_assessable(spec, first_cycle, as_of, status):
    spec(
        given={
            "episodes": episodes(*one_stay("u1")),
            "disinfections": cycles(f"u9 | {first_cycle} | | passed"),
        },
        as_of=as_of,
        model="facts.turnarounds",
        expect=f"status\n {status}",
    )


def test_what_is_not_assessable_has_no_turnaround_and_a_known_cycle_decides_all_the_same(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1", "u2"), *followed("u1")),
            "disinfections": cycles("u2 | 03-05 09:00 | 03-05 10:00 | passed"),
        },
        model=MODEL,
        expect="unit_id | status | turnaround_h\n u1 | not_assessable |\n u2 | reprocessed | 2",
    )


def test_only_the_time_to_the_next_stay_needs_records(spec):
    spec(
        given={"episodes": episodes(*one_stay("u1"), *followed("u1"))},
        rules=MARCH,
        as_of="12-01 00:00",
        model=MODEL,
        expect="status\n bypassed",
    )


def test_a_unit_that_left_the_pool_is_withdrawn_from_then_on(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1", "u2", "u3", "u4", "u5")),
            "unit_status": """
                unit_id | started_at     | ended_at    | status
                u1      | 03-05 20:00    |             | repair
                u2      | 03-06 08:00    |             | loan
                u3      | 03-06 08:00:01 |             | held
                u4      | 03-04 08:00    |             | held
                u5      | 03-01 08:00    | 03-05 08:00 | repair""",
        },
        rules=MARCH,
        as_of="03-06 08:00",
        model=MODEL,
        expect="""
            unit_id | status    | turnaround_h
            u1      | withdrawn | 12
            u2      | withdrawn | 24
            u3      | waiting   | 24
            u4      | withdrawn | 0
            u5      | waiting   | 24""",
    )


def test_a_unit_retires_at_local_midnight(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1")),
            "units": "unit_id | retired_on\n u1 | 2026-03-06",
        },
        rules=f'time_zone = "Europe/Berlin"\n{MARCH}',
        as_of="03-05 23:00",
        model=MODEL,
        expect="status | turnaround_h\n withdrawn | 15",
    )


def test_a_next_patient_counts_before_a_withdrawal(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1"), *followed("u1")),
            "unit_status": "unit_id | started_at | status\n u1 | 03-05 12:00 | repair",
        },
        rules=MARCH,
        model=MODEL,
        expect="status | turnaround_h\n bypassed | 24",
    )


def test_the_same_patients_next_stay_follows_too(spec):
    spec(
        given={"episodes": episodes(*one_stay("u1"), "p1 | u1 | Alder | 03-07 08:00 | 03-08 08:00")},
        rules=MARCH,
        as_of="03-08 20:00",
        model=MODEL,
        expect="ended_at | status\n 03-05 08:00 | bypassed\n 03-08 08:00 | waiting",
    )


def test_open_and_overlapping_stays_have_no_turnaround(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-02 08:00 |",
                "p1 | u2 | Alder | 03-02 08:00 | 03-05 08:00",
                "p2 | u2 | Alder | 03-04 08:00 | 03-06 08:00",
            )
        },
        rules=MARCH,
        model=MODEL,
        expect="unit_id",
    )


@pytest.mark.parametrize(
    ("next_at", "status"), [("04-01 00:00", "bypassed"), ("04-01 00:00:01", "not_assessable")]
)
def test_a_time_up_to_the_last_instant_of_a_covered_month_is_assessable(spec, next_at, status):
    spec(
        given={"episodes": episodes(*one_stay("u1"), f"p2 | u1 | Alder | {next_at} |")},
        rules=MARCH,
        model=MODEL,
        expect=f"status\n {status}",
    )


def test_a_unit_was_withdrawn_when_it_first_left_the_pool(spec):
    spec(
        given={
            "episodes": episodes(*one_stay("u1")),
            "unit_status": """
                unit_id | started_at  | ended_at    | status
                u1      | 03-05 20:00 | 03-06 08:00 | repair
                u1      | 03-07 08:00 |             | loan""",
        },
        rules=MARCH,
        as_of="03-08 08:00",
        model=MODEL,
        expect="status | turnaround_h\n withdrawn | 12",
    )
