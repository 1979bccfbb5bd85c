"""Verdicts with every slack at 0 and doubled (120 min to chart, 10 min between clocks, no grace)."""

from __future__ import annotations

from typing import Any

import pytest

from pipeline.signals.sensitivity import COLUMNS, verdict_flips


def flips(connection: Any, measure: str) -> dict[str, tuple[Any, ...]]:
    """Return cases, flipped, rate and rate in force of each scenario."""
    rows = verdict_flips(connection).filter(measure=measure).rows(named=True)
    return {row["scenario"]: tuple(row[name] for name in list(COLUMNS)[3:]) for row in rows}


def one_stay(fitted_at: str) -> dict[str, str]:
    return {
        "episodes": """
            patient_key | unit_id | ward  | started_at  | ended_at
            p1          | u1      | Alder | 03-02 10:00 | 03-04 10:00""",
        "part_changes": f"""
            unit_id | part    | fitted_at
            u1      | circuit | {fitted_at}
            u9      | circuit | 02-20 10:00""",
    }


@pytest.mark.parametrize(
    ("fitted_at", "at_0", "doubled"),
    [
        ("03-02 10:00", (1, 0, 0.0, 0.0), (1, 0, 0.0, 0.0)),
        ("03-02 10:01", (1, 1, 1.0, 0.0), (1, 0, 0.0, 0.0)),
        ("03-02 12:01", (1, 0, 1.0, 1.0), (1, 1, 0.0, 1.0)),
        ("03-02 14:01", (1, 0, 1.0, 1.0), (1, 0, 1.0, 1.0)),
    ],
)
def test_a_part_that_was_charted_late_is_fresh_only_with_enough_slack(computed, fitted_at, at_0, doubled):
    found = flips(computed(one_stay(fitted_at), as_of="03-20 00:00"), "fresh_parts:circuit")
    assert found == {"at_0": at_0, "doubled": doubled}


def two_stays(cycle: str) -> dict[str, str]:
    return {
        "episodes": """
            patient_key | unit_id | ward  | started_at  | ended_at
            p1          | u1      | Alder | 03-02 10:00 | 03-03 10:00
            p2          | u1      | Alder | 03-05 10:00 | 03-06 10:00""",
        "disinfections": f"""
            unit_id | started_at  | ended_at | outcome
            u1      | {cycle}     | passed
            u1      | 03-07 10:00 | 03-07 11:00 | passed
            u9      | 02-20 10:00 | 02-20 11:00 | passed""",
    }


def test_a_cycle_a_few_minutes_into_the_stay_is_proof_only_where_clocks_may_differ(computed):
    found = flips(
        computed(two_stays("03-05 09:00 | 03-05 10:05"), as_of="03-20 00:00"), "unprotected_changeovers"
    )
    assert found == {"at_0": (1, 1, 1.0, 0.0), "doubled": (1, 0, 0.0, 0.0)}


def test_clocks_that_differ_by_more_are_proof_only_with_the_slack_doubled(computed):
    connection = computed(two_stays("03-05 09:00 | 03-05 10:15"), as_of="03-20 00:00")
    assert flips(connection, "unprotected_changeovers") == {
        "at_0": (1, 0, 1.0, 1.0),
        "doubled": (1, 1, 0.0, 1.0),
    }


def test_turnaround_flips_where_the_cycle_no_longer_counts(computed):
    connection = computed(two_stays("03-05 09:00 | 03-05 10:05"), "03-20 00:00", "turnaround_target_h = 60")
    assert flips(connection, "turnaround")["at_0"] == (2, 1, 0.5, 0.0)


def test_the_grace_is_a_slack_too(computed):
    given = {
        "episodes": """
            patient_key | unit_id | ward  | started_at  | ended_at
            p1          | u1      | Alder | 03-02 10:00 | 03-12 10:00""",
        "part_changes": """
            unit_id | part    | fitted_at   | removed_at
            u1      | circuit | 03-02 10:00 | 03-09 11:00""",
    }
    connection = computed(given, "03-20 00:00", "grace_h = 2")
    assert flips(connection, "overrun_of_due:circuit") == {
        "at_0": (1, 1, 1.0, 0.0),
        "doubled": (1, 0, 0.0, 0.0),
    }


def test_part_cover_has_hours_in_place_of_cases(computed):
    found = flips(computed(one_stay("03-02 11:00"), as_of="03-20 00:00"), "part_cover:circuit")
    assert found["at_0"] == (None, None, pytest.approx(47 / 48), 1.0)
    assert found["doubled"] == (None, None, 1.0, 1.0)


def test_the_rules_in_force_stand_again_afterwards(computed):
    connection = computed(one_stay("03-02 11:00"), as_of="03-20 00:00")
    before = connection.sql("select * from run.settings").fetchall()
    verdict_flips(connection)
    assert connection.sql("select * from run.settings").fetchall() == before


def test_without_a_case_there_is_no_row(computed):
    given = {"count_readings": "unit_id | read_at | cycle_count\nu1 | 03-02 10:00 | 5"}
    assert flips(computed(given, as_of="03-20 00:00"), "turnaround") == {}
