"""From power on to the target, and what was used before it."""

from __future__ import annotations

import pytest
from ward_records import episodes, samples

MODEL = "facts.powered_runs"


def logged(*rows: str) -> str:
    return samples(*(f"u1 | 03-01 {row}" for row in rows))


def test_a_run_is_told_from_its_first_sample_to_its_last(spec):
    spec(
        given={
            "usage_samples": logged(
                "08:00 | heating | 0 | 30.5 |",
                "08:04 | standby | 0 | 33 |",
                "08:06 | in_use | 30 | 35 |",
                "08:09 | in_use | 30 | 36.5 |",
                "08:15 | in_use | 30 | 37 |",
                "08:20 | off | 0 | |",
            )
        },
        model=MODEL,
        expect="""
            powered_at | ended_at | first_dew_point_c | target_reached_at | warmup_min | in_use_from
            03-01 08:00 | 03-01 08:20 | 30.5 | 03-01 08:09 | 9 | 03-01 08:06""",
    )


@pytest.mark.parametrize(
    ("second", "runs"),
    [("08:10 | heating", ["08:00"]), ("08:10:01 | heating", ["08:00", "08:10:01"])],
    ids=["the longest gap", "one second more"],
)
def test_samples_further_apart_than_the_gap_belong_to_two_runs(spec, second, runs):
    spec(
        given={"usage_samples": logged("08:00 | heating | 0 | |", f"{second} | 0 | |")},
        model=MODEL,
        expect="powered_at\n" + "\n".join(f"03-01 {run}" for run in runs),
    )


@pytest.mark.parametrize("phase", ["off", "reprocessing"])
def test_a_sample_that_is_not_powered_ends_the_run(spec, phase):
    spec(
        given={
            "usage_samples": logged(
                "08:00 | heating | 0 | |",
                f"08:02 | {phase} | 0 | |",
                "08:04 | standby | 0 | |",
                "08:06 | in_use | 30 | |",
            )
        },
        model=MODEL,
        expect="powered_at | in_use_from\n 03-01 08:00 |\n 03-01 08:04 | 03-01 08:06",
    )


@pytest.mark.parametrize(
    ("dew_point", "set_point", "reached"),
    [
        ("34.5", "35", True),
        ("34.49", "35", False),
        ("36.5", "", True),
        ("36.49", "", False),
        ("", "35", False),
    ],
)
def test_the_target_is_the_set_dew_point_else_the_rule_less_half_a_degree(
    spec, dew_point, set_point, reached
):
    spec(
        given={
            "usage_samples": logged(
                "08:00 | heating | 0 | 20 |", f"08:08 | heating | 0 | {dew_point} | {set_point}"
            )
        },
        model=MODEL,
        expect=f"target_reached_at | warmup_min\n {'03-01 08:08 | 8' if reached else '|'}",
    )


def test_the_rule_says_which_target_stands_where_none_is_logged(spec):
    spec(
        given={"usage_samples": logged("08:00 | heating | 0 | 20 |", "08:05 | heating | 0 | 30.5 |")},
        rules="target_dew_point_c = 31",
        model=MODEL,
        expect="target_reached_at\n 03-01 08:05",
    )


def test_a_run_that_never_reaches_its_target_was_used_before_it_throughout(spec):
    spec(
        given={
            "usage_samples": logged(
                "08:00 | in_use | 30 | 20 |", "08:08 | in_use | 30 | 20 |", "09:00 | off | 0 | |"
            )
        },
        model=MODEL,
        expect="target_reached_at | warmup_min | in_use_before_target_min\n | | 18",
    )


def test_a_run_that_began_at_its_target_needed_no_time(spec):
    spec(
        given={"usage_samples": logged("08:00 | in_use | 30 | 37 |", "08:08 | off | 0 | |")},
        model=MODEL,
        expect="warmup_min | in_use_before_target_min\n 0 | 0",
    )


def test_the_ward_is_the_patients_when_use_or_else_power_began_else_the_units(spec):
    spec(
        given={
            "units": "unit_id | ward\n u1 | Cedar\n u2 | Dogwood",
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 07:00 | 03-01 08:04", "p2 | u1 | Birch | 03-01 08:04 | 03-01 09:00"
            ),
            "usage_samples": samples(
                "u1 | 03-01 08:00 | heating | 0  | |",
                "u1 | 03-01 08:04 | in_use  | 30 | |",
                "u1 | 03-01 09:00 | standby | 0  | |",
                "u2 | 03-01 08:00 | in_use  | 30 | |",
                "u3 | 03-01 08:00 | in_use  | 30 | |",
                "u1 | 03-01 08:30 | standby | 0  | |",
            ),
        },
        model=MODEL,
        expect="""
            unit_id | powered_at  | ward
            u1      | 03-01 08:00 | Birch
            u1      | 03-01 08:30 | Birch
            u1      | 03-01 09:00 | Cedar
            u2      | 03-01 08:00 | Dogwood
            u3      | 03-01 08:00 |""",
    )
