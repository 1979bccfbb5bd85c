"""Warm-up and humidity in use, month by month."""

from __future__ import annotations

from ward_records import episodes, samples

MODEL = "measures.powered_run_monthly"
WARDS = "unit_id | ward\n u1 | Alder\n u2 | Alder\n u3 | Birch"


def warmup(unit: str, start: str, *rest: str) -> list[str]:
    return [f"{unit} | 03-01 {start} | heating | 0 | 25 |", *(f"{unit} | 03-01 {row}" for row in rest)]


def test_warm_up_times_are_of_the_runs_that_reached_their_target(spec):
    spec(
        given={
            "units": WARDS,
            "usage_samples": samples(
                *warmup("u1", "08:00", "08:04 | heating | 0 | 37 |", "08:05 | off | 0 | |"),
                *warmup("u1", "09:00", "09:09 | heating | 0 | 37 |", "09:10 | off | 0 | |"),
                *warmup("u2", "08:00", "08:06 | in_use | 30 | 25 |", "08:09 | off | 0 | |"),
                *warmup(
                    "u3",
                    "08:00",
                    "08:01 | in_use | 30 | 25 |",
                    "08:02 | heating | 0 | 37 |",
                    "08:05 | in_use | 30 | 37 |",
                    "08:09 | off | 0 | |",
                ),
            ),
        },
        model=MODEL,
        # Alder's 4 and 9 minutes; quantiles between two values lie on the line that joins them.
        expect="""
            ward  | month   | runs | reached | warmup_median_min | warmup_p90_min | in_use_before_target_min
            Alder | 2026-03 | 3    | 2       | 6.5               | 8.5            | 3
            Birch | 2026-03 | 1    | 1       | 2                 | 2              | 1
            *     | 2026-03 | 4    | 3       | 4                 | 8              | 4""",
    )


def test_without_a_run_that_reached_its_target_the_times_are_empty(spec):
    spec(
        given={"usage_samples": samples("u1 | 03-01 08:00 | standby | 0 | 20 |")},
        model=MODEL,
        expect="ward | reached | warmup_median_min | low_humidity_h\n | 0 | |\n * | 0 | |",
    )


def test_hours_of_low_humidity_are_the_patients_wards(spec):
    spec(
        given={
            "units": "unit_id | ward\n u1 | Birch",
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 20:00", "p2 | u2 | Alder | 03-01 08:00 | 03-01 20:00"
            ),
            "usage_samples": samples(
                *(
                    f"{unit} | 03-01 {row}"
                    for unit in ("u1", "u2")
                    for row in (
                        "08:00 | in_use | 30 | 37 | 37",
                        "08:06 | in_use | 30 | 30 | 37",
                        "08:12 | off | 0 | |",
                    )
                )
            ),
        },
        model=MODEL,
        expect="ward | runs | low_humidity_h\n Alder | 2 | 0.2\n * | 2 | 0.2",
    )


def test_the_month_is_the_sites_month_of_power_on(spec):
    spec(
        given={
            "usage_samples": samples(
                "u1 | 03-31 22:59:59 | standby | 0 | |", "u2 | 03-31 23:00 | standby | 0 | |"
            ),
        },
        rules='time_zone = "Europe/Dublin"',
        model=MODEL,
        expect="""
            ward | month   | runs
                 | 2026-03 | 1
            *    | 2026-03 | 1
                 | 2026-04 | 1
            *    | 2026-04 | 1""",
    )
