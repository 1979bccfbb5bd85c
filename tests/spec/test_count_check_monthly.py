"""How many pairs of counts agree with the records, month by month."""

from __future__ import annotations

from ward_records import readings

MODEL = "measures.count_check_monthly"
MARCH = '[coverage]\ndisinfections = ["2026-03"]'
CYCLE = "unit_id | started_at | ended_at | outcome\n u2 | 03-01 09:00 | 03-01 10:00 | passed"


def counts(unit: str, *values: int) -> list[str]:
    return [f"{unit} | 03-{day:02} 08:00 | {value}" for day, value in enumerate(values, 1)]


def test_each_verdict_is_counted_apart(spec):
    spec(
        given={
            "units": "unit_id | ward\n u1 | Alder\n u2 | Alder\n u3 | Alder\n u4 | Birch",
            "disinfections": CYCLE,
            "count_readings": readings(
                *counts("u1", 5, 5, 6),  # agrees, unrecorded
                *counts("u2", 5, 5, 4),  # uncounted, rollback
                *counts("u3", 5, 50, 5),  # likely misread, twice
                "u4 | 02-20 08:00 | 5",
                "u4 | 03-01 00:00 | 6",  # began before the records
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            ward  | month   | pairs | agrees | unrecorded | uncounted | rollback | likely_misread | not_assessable
            Alder | 2026-03 | 6     | 1      | 1          | 1         | 1        | 2              | 0
            Birch | 2026-03 | 1     | 0      | 0          | 0         | 0        | 0              | 1
            *     | 2026-03 | 7     | 1      | 1          | 1         | 1        | 2              | 1""",
    )


def test_the_month_is_that_of_the_later_count_and_the_ward_the_units_own(spec):
    spec(
        given={
            "count_readings": readings(
                "u1 | 03-31 08:00 | 5", "u1 | 03-31 23:00 | 5", "u1 | 04-30 22:59:59 | 5"
            )
        },
        rules='time_zone = "Europe/Dublin"',
        model=MODEL,
        # A unit of which no ward is known stands under an empty one.
        expect="ward | month | pairs\n | 2026-04 | 2\n * | 2026-04 | 2",
    )
