"""Units that are slow to warm up beside the pool."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from results import results

from pipeline.signals.warm_up import UnitWarmUp, warm_up

START = datetime(2026, 3, 1, 8)


def run(unit, minutes, lasted=600, early=0.0, dew=30.0, day=0):
    at = START + timedelta(days=day)
    return {
        "unit_id": unit, "powered_at": at, "ended_at": at + timedelta(minutes=lasted), "first_dew_point_c": dew,
        "target_reached_at": None if minutes is None else at + timedelta(minutes=minutes),
        "in_use_before_target_min": early,
    }  # fmt: skip


def runs(unit: str, minutes: list[float | None], **more):
    return [run(unit, value, day=day, **more) for day, value in enumerate(minutes)]


def found(rows, **window) -> dict[str, UnitWarmUp]:
    return {
        unit.unit_id: unit for unit in warm_up(results(powered_runs=rows), "T", "2026-03", **window).units
    }


POOL = [row for place, unit in enumerate("abcde") for row in runs(unit, [14 + place] * 5)]


def test_a_unit_far_slower_than_the_pool_is_slow():
    units = found(POOL + runs("f", [40] * 5))
    assert [name for name, unit in units.items() if unit.slow] == ["f"]
    assert units["f"].robust_z > 3
    assert units["a"].robust_z < 0


def test_each_unit_is_told_by_its_own_runs():
    assert {name: unit.median_min for name, unit in found(POOL).items()} == {
        unit: 14.0 + place for place, unit in enumerate("abcde")
    }


def test_a_fast_unit_is_not_pointed_out():
    assert not found(POOL + runs("f", [1] * 5))["f"].slow


@pytest.mark.parametrize(("count", "judged"), [(4, False), (5, True)])
def test_a_unit_is_judged_by_at_least_five_runs(count, judged):
    assert (found(POOL + runs("f", [40] * count))["f"].robust_z is not None) is judged


def test_fewer_than_five_units_are_not_compared():
    result = warm_up(results(powered_runs=[row for row in POOL if row["unit_id"] != "a"]), "T", "2026-03")
    assert {unit.robust_z for unit in result.units} == {None}
    assert "none is compared with the others" in result.sentence


def test_a_run_that_never_reached_the_target_is_not_left_out():
    unit = found(runs("a", [10, 10, 10, None, None]))["a"]
    assert (unit.runs, unit.reached) == (5, 3)
    assert unit.mean_min == pytest.approx((3 * 10 + 2 * 60) / 5)


def test_a_run_cut_short_counts_as_long_as_it_lasted():
    # Product limit: all of four at risk at 10, one cut short at 5; then nothing more until 60.
    unit = found([*runs("a", [10, 10, 10, 10]), run("a", None, lasted=5, day=9)])["a"]
    assert unit.mean_min == pytest.approx(10)


def test_the_median_of_complete_runs_is_the_ordinary_one():
    assert found(runs("a", [10, 12, 14, 20]))["a"].median_min == 13


def test_runs_without_a_dew_point_tell_nothing():
    assert found([run("a", None, dew=None)]) == {}


def test_use_before_the_target_is_counted_and_summed():
    unit = found([run("a", 20, early=5.0), run("a", 20, early=0.0, day=1), run("a", 20, early=None, day=2)])[
        "a"
    ]
    assert (unit.runs_used_early, unit.used_before_target_min) == (1, 5.0)


def test_runs_of_other_months_do_not_count():
    assert found([run("a", 10, day=-1), run("a", 10, day=40)], months=1) == {}


def test_without_a_run_the_sentence_says_so():
    assert warm_up(results(), "T", "2026-03").sentence.startswith("No run with a dew point was logged")
