"""Whether a unit's own count of its cycles agrees with the records."""

from __future__ import annotations

import pytest
from ward_records import cycles, readings

MODEL = "facts.count_checks"
MARCH = '[coverage]\ndisinfections = ["2026-03"]'


def counts(*values: int, unit: str = "u1") -> list[str]:
    """One reading a day at 08:00, from 1 March on."""
    return [f"{unit} | 03-{day:02} 08:00 | {value}" for day, value in enumerate(values, 1)]


def test_counted_is_the_difference_and_expected_the_recorded_cycles(spec):
    spec(
        given={
            "count_readings": readings(*counts(5, 7, 8)),
            "disinfections": cycles(
                "u1 | 03-01 09:00 | 03-01 10:00 | passed", "u1 | 03-01 12:00 | 03-01 13:00 | passed"
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            unit_id | from_at     | to_at       | from_count | to_count | expected | counted | verdict
            u1      | 03-01 08:00 | 03-02 08:00 | 5          | 7        | 2        | 2       | agrees
            u1      | 03-02 08:00 | 03-03 08:00 | 7          | 8        | 0        | 1       | unrecorded""",
    )


def test_more_than_expected_is_unrecorded_fewer_uncounted_and_less_than_before_a_rollback(spec):
    cycle = "03-01 09:00 | 03-01 10:00 | passed"
    spec(
        given={
            "count_readings": readings(
                *counts(5, 7, unit="u1"),
                *counts(5, 6, unit="u2"),
                *counts(5, 5, unit="u3"),
                *counts(5, 4, unit="u4"),
            ),
            "disinfections": cycles(*(f"u{number} | {cycle}" for number in range(1, 5))),
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            unit_id | counted | verdict
            u1      | 2       | unrecorded
            u2      | 1       | agrees
            u3      | 0       | uncounted
            u4      | -1      | rollback""",
    )


def test_a_cycle_counts_that_ended_after_the_first_count_and_by_the_second(spec):
    spec(
        given={
            "count_readings": readings(
                *(row for number in range(1, 5) for row in counts(5, 6, unit=f"u{number}"))
            ),
            "disinfections": cycles(
                "u1 | 03-01 07:00 | 03-01 08:00 | passed",
                "u2 | 03-01 07:00 | 03-01 08:00:01 | passed",
                "u3 | 03-02 07:00 | 03-02 08:00 | passed",
                "u4 | 03-02 07:00 | 03-02 08:00:01 | passed",
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect="unit_id | expected\n u1 | 0\n u2 | 1\n u3 | 1\n u4 | 0",
    )


@pytest.mark.parametrize(("counted", "expected"), [("passed", 1), ("all", 2)])
def test_the_rules_say_which_cycles_the_counter_counts(spec, counted, expected):
    spec(
        given={
            "count_readings": readings(*counts(5, 6)),
            "disinfections": cycles(
                "u1 | 03-01 09:00 | 03-01 10:00 | passed",
                "u1 | 03-01 12:00 | 03-01 13:00 | interrupted",
                "u1 | 03-01 14:00 | | failed",
            ),
        },
        rules=f'counter_counts = "{counted}"\n{MARCH}',
        model=MODEL,
        expect=f"expected\n {expected}",
    )


def test_the_count_of_a_cycle_stands_at_its_end_and_before_a_reading_of_that_instant(spec):
    spec(
        given={
            "count_readings": readings("u1 | 03-01 08:00 | 5", "u1 | 03-01 10:00 | 7"),
            "disinfections": """
                unit_id | started_at  | ended_at    | outcome | cycle_count
                u1      | 03-01 09:00 | 03-01 10:00 | passed  | 6
                u1      | 03-01 11:00 |             | passed  | 9
                u1      | 03-01 12:00 | 03-01 13:00 | passed  |""",
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            from_at     | to_at       | from_count | to_count | expected | verdict
            03-01 08:00 | 03-01 10:00 | 5          | 6        | 1        | agrees
            03-01 10:00 | 03-01 10:00 | 6          | 7        | 0        | unrecorded""",
    )


def test_a_reading_that_disagrees_with_neighbours_that_agree_is_likely_misread(spec):
    spec(
        given={
            "count_readings": readings(
                *counts(5, 50, 5, unit="u1"),
                *counts(5, 50, 6, unit="u2"),
                *counts(5, 5, 50, unit="u3"),
                *counts(50, 5, 5, unit="u4"),
            )
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            unit_id | to_at       | verdict
            u1      | 03-02 08:00 | likely_misread
            u1      | 03-03 08:00 | likely_misread
            u2      | 03-02 08:00 | unrecorded
            u2      | 03-03 08:00 | rollback
            u3      | 03-02 08:00 | agrees
            u3      | 03-03 08:00 | unrecorded
            u4      | 03-02 08:00 | rollback
            u4      | 03-03 08:00 | agrees""",
    )


def test_neighbours_agree_when_the_records_explain_their_difference(spec):
    spec(
        given={
            "count_readings": readings(*counts(5, 50, 6)),
            "disinfections": cycles(
                "u1 | 02-28 09:00 | 02-28 10:00 | passed", "u1 | 03-01 09:00 | 03-01 10:00 | passed"
            ),
        },
        model=MODEL,
        expect="expected | verdict\n 1 | likely_misread\n 0 | likely_misread",
    )


def test_only_a_reading_can_be_misread_not_the_count_that_a_cycle_carries(spec):
    spec(
        given={
            "count_readings": readings("u1 | 03-01 08:00 | 5", "u1 | 03-03 08:00 | 6"),
            "disinfections": """
                unit_id | started_at  | ended_at    | outcome | cycle_count
                u1      | 03-02 07:00 | 03-02 08:00 | passed  | 50""",
        },
        rules=MARCH,
        model=MODEL,
        expect="to_at | verdict\n 03-02 08:00 | unrecorded\n 03-03 08:00 | rollback",
    )


@pytest.mark.parametrize(
    ("first_cycle", "verdict"), [("03-01 08:00", "unrecorded"), ("03-01 08:00:01", "not_assessable")]
)
def test_a_disagreement_that_the_records_do_not_reach_is_not_assessable(spec, first_cycle, verdict):
    spec(
        given={
            "count_readings": readings(*counts(5, 6)),
            "disinfections": cycles(f"u9 | {first_cycle} | | passed"),
        },
        model=MODEL,
        expect=f"verdict\n {verdict}",
    )


def test_agreement_and_likely_misreads_need_no_records_and_every_disagreement_does(spec):
    spec(
        given={
            "count_readings": readings(
                *counts(5, 5, unit="u1"), *counts(5, 4, unit="u2"), *counts(5, 50, 5, unit="u3")
            )
        },
        model=MODEL,
        expect="""
            unit_id | verdict
            u1      | agrees
            u2      | not_assessable
            u3      | likely_misread
            u3      | likely_misread""",
    )


@pytest.mark.parametrize(
    ("read_at", "verdict"), [("04-01 00:00", "unrecorded"), ("04-01 00:00:01", "not_assessable")]
)
def test_a_window_up_to_the_last_instant_of_a_covered_month_is_assessable(spec, read_at, verdict):
    spec(
        given={"count_readings": readings("u1 | 03-20 08:00 | 5", f"u1 | {read_at} | 6")},
        rules=MARCH,
        model=MODEL,
        expect=f"verdict\n {verdict}",
    )
