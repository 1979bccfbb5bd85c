"""How long until a unit is disinfected again: the cumulative incidence, with use before it competing."""

from __future__ import annotations

import pytest
from ward_records import cycles, episodes

MODEL = "measures.turnaround_monthly"
MARCH = '[coverage]\ndisinfections = ["2026-03"]'


def ended(*units: str, ward: str = "Alder") -> list[str]:
    return [f"p1 | {unit} | {ward} | 03-02 08:00 | 03-05 08:00" for unit in units]


def cycle(unit: str, hours: int, day: int = 5) -> str:
    """A cycle of an hour that ends this many hours after the stays did."""
    return f"{unit} | 03-{day:02} {7 + hours:02}:00 | 03-{day:02} {8 + hours:02}:00 | passed"


def test_the_median_is_the_least_time_at_which_half_are_reprocessed(spec):
    spec(
        given={
            "episodes": episodes(*ended("u1", "u2", "u3", "u4"), *ended("u5", ward="Birch")),
            "disinfections": cycles(
                cycle("u1", 1), cycle("u2", 2), cycle("u3", 5), cycle("u4", 8), cycle("u5", 9)
            ),
        },
        model=MODEL,
        # The waits are an hour shorter: 0, 1, 4, 7 and 8.
        expect="""
            ward  | month   | ended | reprocessed | waiting | not_assessable | median_h | p90_h | wait_median_h
            Alder | 2026-03 | 4     | 4           | 0       | 0              | 2        | 8     | 2.5
            Birch | 2026-03 | 1     | 1           | 0       | 0              | 9        | 9     | 8
            *     | 2026-03 | 5     | 5           | 0       | 0              | 5        | 9     | 4""",
    )


def test_a_bypass_competes_so_that_its_share_is_never_reached(spec):
    spec(
        given={
            "episodes": episodes(
                *ended("u1", "u2", "u3"), "p2 | u2 | Alder | 03-05 11:00 |", "p2 | u3 | Alder | 03-05 12:00 |"
            ),
            "disinfections": cycles(cycle("u1", 5)),
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            ward  | ended | reprocessed | bypassed | median_h | p90_h | within_target
            Alder | 3     | 1           | 2        |          |       | 0.33333
            *     | 3     | 1           | 2        |          |       | 0.33333""",
    )


@pytest.mark.parametrize(
    ("as_of", "within"),
    [("03-06 07:59:59", ""), ("03-06 08:00", "0.5")],
    ids=["short of the target", "at the target"],
)
def test_units_still_waiting_are_censored_and_the_share_is_given_only_once_they_were_watched_that_long(
    spec, as_of, within
):
    spec(
        given={"episodes": episodes(*ended("u1", "u2")), "disinfections": cycles(cycle("u1", 2))},
        rules=MARCH,
        as_of=as_of,
        model=MODEL,
        expect=f"""
            ward  | ended | reprocessed | waiting | median_h | p90_h | within_target
            Alder | 2     | 1           | 1       | 2        |       | {within}
            *     | 2     | 1           | 1       | 2        |       | {within}""",
    )


def test_a_unit_censored_early_leaves_the_others_at_risk(spec):
    spec(
        given={
            "episodes": episodes(*ended("u1", "u2", "u3")),
            "disinfections": cycles(cycle("u1", 1), cycle("u2", 4)),
            "unit_status": "unit_id | started_at | status\n u3 | 03-05 10:00 | repair",
        },
        rules=f"turnaround_target_h = 4\n{MARCH}",
        as_of="03-10 00:00",
        model=MODEL,
        # A third by one hour; of the two thirds left the only one still at risk at four hours.
        expect="""
            ward  | withdrawn | median_h | p90_h | within_target
            Alder | 1         | 4        | 4     | 1
            *     | 1         | 4        | 4     | 1""",
    )


def test_what_is_not_assessable_is_counted_and_left_out(spec):
    spec(
        given={
            "episodes": episodes(*ended("u1"), "p1 | u2 | Alder | 03-02 08:00 | 03-03 08:00"),
            "disinfections": cycles(cycle("u1", 3)),
        },
        model=MODEL,
        expect="""
            ward  | ended | reprocessed | not_assessable | median_h | within_target
            Alder | 2     | 1           | 1              | 3        | 1
            *     | 2     | 1           | 1              | 3        | 1""",
    )
    spec(
        given={"episodes": episodes(*ended("u1"))},
        model=MODEL,
        expect="ward | ended | median_h | within_target | wait_median_h\n Alder | 1 | | |\n * | 1 | | |",
    )


@pytest.mark.parametrize(("hours", "within"), [("4", "1"), ("3.99", "0")])
def test_the_target_is_the_sites_own(spec, hours, within):
    spec(
        given={"episodes": episodes(*ended("u1")), "disinfections": cycles(cycle("u1", 4))},
        rules=f"turnaround_target_h = {hours}",
        model=MODEL,
        expect=f"ward | within_target\n Alder | {within}\n * | {within}",
    )


def test_the_month_is_the_sites_month_of_the_stays_end(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-30 08:00 | 03-31 22:59:59",
                "p2 | u2 | Alder | 03-30 08:00 | 03-31 23:00",
            )
        },
        rules='time_zone = "Europe/Dublin"',
        model=MODEL,
        expect="""
            ward  | month   | ended
            Alder | 2026-03 | 1
            *     | 2026-03 | 1
            Alder | 2026-04 | 1
            *     | 2026-04 | 1""",
    )
