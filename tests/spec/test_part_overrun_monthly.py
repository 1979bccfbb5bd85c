"""How often, and for how many days, parts stayed past their limit."""

from __future__ import annotations

from ward_records import episodes, parts

MODEL = "measures.part_overrun_monthly"
LONG = episodes(*(f"p1 | u{number} | Alder | 03-01 00:00 | 04-20 00:00" for number in range(1, 5)))


def test_counts_fall_in_the_month_of_the_decision_and_days_in_the_month_in_which_they_lie(spec):
    spec(
        given={"episodes": LONG, "part_changes": parts("u1 | | circuit | 03-23 00:00 | 04-05 00:00")},
        rules="grace_h = 48",
        model=MODEL,
        # The limit is 30 March, decided with the grace on 1 April. Wilson's limits of 1 of 1 by statsmodels 0.15.
        expect="\n".join(
            [
                "ward | month | part | decided | overrun | overrun_rate | rate_low | rate_high | part_days"
                " | overrun_days | overrun_days_per_100_part_days",
                *(
                    row
                    for ward in ("Alder", "*")
                    for row in (
                        f"{ward} | 2026-03 | circuit | 0 | 0 | | | | 9 | 2 | 22.222",
                        f"{ward} | 2026-04 | circuit | 1 | 1 | 1 | 0.20655 | 1 | 4 | 4 | 100",
                    )
                ),
            ]
        ),
    )


def test_the_rate_is_of_the_decided_spans_and_another_of_those_that_were_due(spec):
    spec(
        given={
            "episodes": LONG + "\np2 | u5 | Alder | 03-01 00:00 | 03-04 00:00",
            "part_changes": parts(
                "u1 | | circuit | 03-01 00:00 | 03-09 00:00",  # overrun
                "u3 | | circuit | 03-01 00:00 | 03-10 00:00",  # overrun
                "u2 | | circuit | 03-01 00:00 | 03-05 00:00",  # replaced in time
                "u5 | | circuit | 03-01 00:00 |",  # off with its patient
            ),
        },
        model=MODEL,
        expect="\n".join(
            [
                "ward | decided | overrun | due | overrun_rate | overrun_of_due_rate | rate_low | rate_high | part_days"
                " | overrun_days",
                *(
                    f"{ward} | 4 | 2 | 3 | 0.5 | 0.66667 | 0.15004 | 0.84996 | 24 | 3"
                    for ward in ("Alder", "*")
                ),
            ]
        ),
    )


def test_unused_and_not_assessable_spans_are_left_out_and_open_ones_count_up_to_the_horizon(spec):
    spec(
        given={
            "episodes": LONG,
            "part_changes": parts(
                "u9 | | circuit | 03-20 00:00 | 03-25 00:00",  # unused
                "u1 | | circuit | 03-30 00:00 |",  # not assessable: the records stop
                "u2 | | circuit | 06-02 00:00 |",
            ),
        },
        as_of="06-04 00:00",
        model=MODEL,
        expect="ward | part_days",
    )
    spec(
        given={"episodes": LONG, "part_changes": parts("u1 | | circuit | 03-30 00:00 |")},
        as_of="04-02 00:00",
        model=MODEL,
        expect="""
            ward  | month   | decided | overrun_rate | part_days | overrun_days_per_100_part_days
            Alder | 2026-03 | 0       |              | 2         | 0
            *     | 2026-03 | 0       |              | 2         | 0
            Alder | 2026-04 | 0       |              | 1         | 0
            *     | 2026-04 | 0       |              | 1         | 0""",
    )


def test_spans_carried_over_are_counted_once_however_many_patients_they_served(spec):
    spec(
        given={
            "episodes": episodes(
                *(f"p{day} | u1 | Alder | 03-0{day} 08:00 | 03-0{day} 20:00" for day in (1, 2, 3)),
                *(f"p{day} | u2 | Alder | 03-0{day} 08:00 | 03-0{day} 20:00" for day in (4, 5)),
            ),
            "part_changes": parts(
                "u1 | | circuit | 03-01 08:00 | 03-03 20:00",
                "u2 | | circuit | 03-04 08:00 | 03-05 20:00",
                "u1 | | water_bag | 03-03 08:00 | 03-03 20:00",
            ),
        },
        model=MODEL,
        expect="""
            ward  | part      | decided | carried_over_spans
            Alder | circuit   | 2       | 2
            *     | circuit   | 2       | 2
            Alder | water_bag | 1       | 0
            *     | water_bag | 1       | 0""",
    )


def test_wards_are_those_of_the_spans_and_months_the_sites(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-30 08:00 | 03-31 22:59:59",
                "p2 | u2 | Birch | 03-30 08:00 | 03-31 23:00",
            ),
            "part_changes": parts("u1 | | circuit | 03-30 08:00 |", "u2 | | circuit | 03-30 08:00 |"),
        },
        rules='time_zone = "Europe/Dublin"',
        as_of="04-02 00:00",
        model=MODEL,
        expect="""
            ward  | month   | decided | due | overrun_of_due_rate | part_days | overrun_days_per_100_part_days
            Alder | 2026-03 | 1       | 0   |                     | 1.625     | 0
            Birch | 2026-03 | 0       | 0   |                     | 1.625     | 0
            *     | 2026-03 | 1       | 0   |                     | 3.25      | 0
            Birch | 2026-04 | 1       | 0   |                     | 0         |
            *     | 2026-04 | 1       | 0   |                     | 0         |""",
    )


def test_a_span_that_ends_with_the_month_has_no_days_in_the_next(spec):
    spec(
        given={"episodes": LONG, "part_changes": parts("u1 | | circuit | 03-30 00:00 |")},
        as_of="04-01 00:00",
        model=MODEL,
        expect="ward | month | part_days\n Alder | 2026-03 | 2\n * | 2026-03 | 2",
    )


def test_days_past_the_limit_and_within_the_grace_are_no_overrun(spec):
    spec(
        given={"episodes": LONG, "part_changes": parts("u1 | | circuit | 03-01 00:00 | 03-09 00:00")},
        rules="grace_h = 48",
        model=MODEL,
        expect="ward | overrun | part_days | overrun_days\n Alder | 0 | 8 | 0\n * | 0 | 8 | 0",
    )
