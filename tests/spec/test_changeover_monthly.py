"""How often a unit reached its next patient without proof of a valid disinfection."""

from __future__ import annotations

from ward_records import cycles, episodes, readings, sessions

MODEL = "measures.changeover_monthly"
MARCH = '[coverage]\ndisinfections = ["2026-03"]'


def changes(*units: str, ward: str = "Birch", next_at: str = "03-06 08:00") -> list[str]:
    return [
        row
        for unit in units
        for row in (
            f"p1 | {unit} | Alder | 03-02 08:00 | 03-05 08:00",
            f"p2 | {unit} | {ward} | {next_at} | 04-20 08:00",
        )
    ]


def test_each_proof_is_counted_apart_and_three_of_them_outside_the_rate(spec):
    spec(
        given={
            "episodes": episodes(
                *changes("u1", "u2", "u3", "u4", "u5", "u6", "u7"),
                *changes("u8", next_at="03-04 08:00"),
                *changes("u9", next_at="03-08 23:00"),
                "p1 | u10 | Alder | 03-01 08:00 | 03-02 08:00",
                "p2 | u10 | Birch | 03-03 08:00 | 03-08 08:00",
            ),
            "disinfections": """
                unit_id | started_at  | ended_at    | outcome | storage_protected | status_tagged
                u99     | 03-04 08:00 |             | passed  |                   |
                u1      | 03-05 20:00 | 03-05 21:00 | passed  | true              | true
                u2      | 03-05 09:00 | 03-05 10:00 | passed  | true              | true
                u3      | 03-05 20:00 | 03-05 21:00 | passed  |                   |
                u4      | 03-05 20:00 | 03-05 21:00 | failed  |                   |
                u5      | 03-05 20:00 | 03-05 21:00 | passed  | true              | true""",
            "usage_sessions": sessions("u5 | 03-05 22:00 | 03-05 23:00 | 30 |"),
            "count_readings": readings("u7 | 03-05 08:00 | 5", "u7 | 03-05 20:00 | 6"),
        },
        rules="max_storage_days = 0.75\nrequire_storage_proof = true",
        as_of="03-09 00:00",
        model=MODEL,
        # Wilson's limits of 5 of 7 by statsmodels 0.15.
        expect="\n".join(
            [
                "ward | month | changeovers | disinfected | counter_only | expired | storage_unproven | invalid_cycle"
                " | uncharted_use | no_record | undecided | not_assessable | overlap | unprotected"
                " | unprotected_rate | rate_low | rate_high",
                *(
                    f"{ward} | 2026-03 | 7 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 1 | 5 | 0.71429 | 0.35893 | 0.91778"
                    for ward in ("Birch", "*")
                ),
            ]
        ),
    )


def test_wards_are_those_of_the_later_stays_and_add_up_to_the_site(spec):
    spec(
        given={
            "episodes": episodes(*changes("u1", "u2"), *changes("u3", ward="Cedar")),
            "disinfections": cycles("u1 | 03-05 09:00 | 03-05 10:00 | passed"),
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            ward  | changeovers | disinfected | no_record | unprotected_rate
            Birch | 2           | 1           | 1         | 0.5
            Cedar | 1           | 0           | 1         | 1
            *     | 3           | 1           | 2         | 0.66667""",
    )


def test_the_month_is_the_sites_month_of_the_later_start(spec):
    spec(
        given={
            "episodes": episodes(
                *changes("u1", next_at="03-31 22:59:59"), *changes("u2", next_at="03-31 23:00")
            ),
            "disinfections": cycles(
                *(f"u{number} | 03-05 09:00 | 03-05 10:00 | passed" for number in (1, 2))
            ),
        },
        rules='time_zone = "Europe/Dublin"',
        model=MODEL,
        expect="""
            ward  | month   | changeovers
            Birch | 2026-03 | 1
            *     | 2026-03 | 1
            Birch | 2026-04 | 1
            *     | 2026-04 | 1""",
    )


def test_a_rate_of_nothing_is_empty(spec):
    spec(
        given={"episodes": episodes(*changes("u1"))},
        model=MODEL,
        expect="""
            ward  | changeovers | not_assessable | unprotected | unprotected_rate | rate_low | rate_high
            Birch | 0           | 1              | 0           |                  |          |
            *     | 0           | 1              | 0           |                  |          |""",
    )
