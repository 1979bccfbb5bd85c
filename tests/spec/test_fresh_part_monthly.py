"""How often a stay starts with a new part."""

from __future__ import annotations

from ward_records import episodes, parts

MODEL = "measures.fresh_part_monthly"
INTERFACES = "[parts.circuit]\nper_patient = false\n[parts.water_bag]\nper_patient = false\n"
CIRCUITS = INTERFACES.replace("circuit", "interface")


def test_the_rate_is_of_starts_with_a_fresh_part_one_carried_over_or_no_record(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 08:00 | 03-06 08:00",  # fresh
                "p2 | u1 | Alder | 03-06 09:00 | 03-07 08:00",  # carried over
                "p3 | u2 | Birch | 03-05 08:00 | 03-06 08:00",  # no record
                "p4 | u3 | Birch | 03-02 08:00 | 03-03 08:00",  # the window begins before the records
                "p5 | u4 | Birch | 03-08 23:00 |",  # undecided
            ),
            "part_changes": parts("u9 | | circuit | 03-02 00:00 |", "u1 | | circuit | 03-05 08:00 |"),
        },
        rules=CIRCUITS,
        as_of="03-09 00:00",
        model=MODEL,
        # Wilson's limits of 1 of 2, 0 of 1 and 1 of 3 by statsmodels 0.15.
        expect="\n".join(
            [
                "ward | month | part | starts | fresh | carried_over | no_record | same_patient | undecided"
                " | not_assessable | fresh_rate | rate_low | rate_high",
                "Alder | 2026-03 | circuit | 2 | 1 | 1 | 0 | 0 | 0 | 0 | 0.5 | 0.094531 | 0.90547",
                "Birch | 2026-03 | circuit | 1 | 0 | 0 | 1 | 0 | 1 | 1 | 0 | 0 | 0.79345",
                "* | 2026-03 | circuit | 3 | 1 | 1 | 1 | 0 | 1 | 1 | 0.33333 | 0.061492 | 0.79234",
            ]
        ),
    )


def test_a_patients_own_part_is_counted_outside_the_rate_which_is_empty_without_starts(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 08:00 | 03-07 08:00", "p1 | u2 | Birch | 03-07 08:00 | 03-08 08:00"
            ),
            "part_changes": parts("| p1 | interface | 03-05 08:00 |"),
        },
        rules=INTERFACES,
        model=MODEL,
        expect="""
            ward  | starts | fresh | same_patient | fresh_rate | rate_low
            Alder | 1      | 1     | 0            | 1          | 0.20655
            Birch | 0      | 0     | 1            |            |
            *     | 1      | 1     | 1            | 1          | 0.20655""",
    )


def test_the_month_is_the_sites_month_of_the_start(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-31 22:59:59 | 04-02 08:00",
                "p2 | u2 | Alder | 03-31 23:00 | 04-02 08:00",
            )
        },
        rules='time_zone = "Europe/Dublin"\n' + CIRCUITS,
        model=MODEL,
        expect="""
            ward  | month   | not_assessable
            Alder | 2026-03 | 1
            *     | 2026-03 | 1
            Alder | 2026-04 | 1
            *     | 2026-04 | 1""",
    )
