"""Whether the site's own set-up steps were done when a stay started."""

from __future__ import annotations

import pytest
from ward_records import episodes

MODEL = "measures.setup_monthly"
STAY = episodes("p1 | u1 | Alder | 03-10 08:00 | 03-12 08:00")


def checks(*rows: str) -> str:
    return "\n".join(("unit_id | patient_key | checked_at | step | result", *rows))


@pytest.mark.parametrize(
    ("checked_at", "checked"),
    [("03-09 07:59:59", 0), ("03-09 08:00", 1), ("03-10 10:00", 1), ("03-10 10:00:01", 0)],
)
def test_a_check_counts_within_the_preparation_window_and_the_slack_after_the_start(
    spec, checked_at, checked
):
    rate = "1 | 1" if checked else "| 0"
    spec(
        given={"episodes": STAY, "setup_checks": checks(f"u1 | | {checked_at} | seal | done")},
        model=MODEL,
        expect=f"""
            ward  | month   | step | starts | starts_checked | done      | done_rate | checked_rate
            Alder | 2026-03 | seal | 1      | {checked}      | {checked} | {rate}
            *     | 2026-03 | seal | 1      | {checked}      | {checked} | {rate}""",
    )


def test_the_rate_is_of_the_starts_that_were_checked(spec):
    spec(
        given={
            "episodes": episodes(
                *(f"p{number} | u{number} | Alder | 03-10 08:00 | 03-12 08:00" for number in range(1, 5)),
                "p5 | u5 | Birch | 03-10 08:00 | 03-12 08:00",
            ),
            "setup_checks": checks(
                "u1 | p1 | 03-10 07:00 | seal | done",
                "u2 | | 03-10 07:00 | seal | not_done",
                "u3 | p3 | 03-10 07:00 | seal | failed",
                "u5 | p5 | 03-10 07:00 | fill | done",
            ),
        },
        model=MODEL,
        # Wilson's limits of 1 of 3 and 1 of 1 by statsmodels 0.15.
        expect="""
            ward  | step | starts | starts_checked | done | done_rate | checked_rate | rate_low | rate_high
            Alder | seal | 4      | 3              | 1    | 0.33333   | 0.75         | 0.061492 | 0.79234
            Alder | fill | 4      | 0              | 0    |           | 0            |          |
            Birch | seal | 1      | 0              | 0    |           | 0            |          |
            Birch | fill | 1      | 1              | 1    | 1         | 1            | 0.20655  | 1
            *     | seal | 5      | 3              | 1    | 0.33333   | 0.6          | 0.061492 | 0.79234
            *     | fill | 5      | 1              | 1    | 1         | 0.2          | 0.20655  | 1""",
    )


@pytest.mark.parametrize(("first", "second", "done"), [("not_done", "done", 1), ("done", "failed", 0)])
def test_of_several_checks_of_a_start_the_latest_counts(spec, first, second, done):
    spec(
        given={
            "episodes": STAY,
            "setup_checks": checks(
                f"u1 | | 03-10 07:00 | seal | {first}", f"u1 | | 03-10 07:05 | seal | {second}"
            ),
        },
        model=MODEL,
        expect=f"ward | starts_checked | done\n Alder | 1 | {done}\n * | 1 | {done}",
    )


def test_checks_for_another_patient_or_on_another_unit_are_not_this_starts(spec):
    spec(
        given={
            "episodes": STAY,
            "setup_checks": checks(
                "u1 | p9 | 03-10 07:00 | seal | done", "u2 | p1 | 03-10 07:00 | seal | done"
            ),
        },
        model=MODEL,
        expect="ward | starts | starts_checked\n Alder | 1 | 0\n * | 1 | 0",
    )


def test_the_start_of_a_stay_is_asked_not_each_of_its_episodes(spec):
    spec(
        given={
            "episodes": STAY + "\np1 | u1 | Alder | 03-12 09:00 | 03-13 08:00",
            "setup_checks": checks("u1 | p1 | 03-10 07:00 | seal | done"),
        },
        model=MODEL,
        expect="ward | starts\n Alder | 1\n * | 1",
    )


def test_the_month_is_the_sites_month_of_the_start(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-31 23:00 | 04-02 08:00"),
            "setup_checks": checks("u1 | p1 | 03-31 22:00 | seal | done"),
        },
        rules='time_zone = "Europe/Dublin"',
        model=MODEL,
        expect="ward | month | done\n Alder | 2026-04 | 1\n * | 2026-04 | 1",
    )
