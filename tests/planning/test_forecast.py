"""How the method is chosen, how sure it is, and what it says of short histories."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.planning.forecast import Fold, back_test, choose, forecast, score
from pipeline.planning.methods import SEASONAL_NAIVE, SIMPLE, Method, candidates, season_mean
from pipeline.planning.simulate import generator_for
from pipeline.planning.spread import Spread

STEADY = np.array([50.0, 53, 47, 51, 49, 52, 48, 50, 54, 46, 50, 51])


def names(history: int) -> list[str]:
    return [method.name for method in candidates(history, 12)]


@pytest.mark.parametrize(
    ("history", "methods"),
    [
        (3, ["mean_12_months", "mean_3_months"]),
        (12, ["mean_12_months", "mean_3_months"]),
        (13, ["mean_12_months", "mean_3_months", "seasonal_naive"]),
        (23, ["mean_12_months", "mean_3_months", "seasonal_naive"]),
        (24, ["mixture", "seasonal_naive", "theta"]),
    ],
)
def test_below_two_years_only_simple_methods_compete(history, methods):
    assert names(history) == methods


def test_three_months_give_their_mean_and_a_wide_interval():
    found = forecast(np.array([40.0, 50.0, 60.0]), 12)
    low, middle, high = found.spread.quantiles(found.centre, (0.1, 0.5, 0.9))[:, 0]
    assert (found.method.name, middle) == ("mean_12_months", pytest.approx(50))
    assert low < 35
    assert high > 65
    assert found.scores[0].coverage_80 is None


def test_a_season_is_found_in_four_years():
    winter = 60 + 30 * np.cos(np.arange(48) * np.pi / 6)
    found = forecast(winter, 12)
    assert found.centre == pytest.approx(winter[:12], rel=0.02)
    assert {score.method for score in found.scores} == {"mixture", "seasonal_naive", "theta"}
    assert all(score.folds == 12 for score in found.scores)


@pytest.mark.parametrize("counts", [np.zeros(30), np.concatenate([np.zeros(26), np.ones(4)])])
def test_months_without_any_stay_are_forecast_all_the_same(counts):
    found = forecast(counts, 12)
    assert np.isfinite(found.centre).all()
    assert (found.paths(10, generator_for("none")) >= 0).all()


def two_methods(error_of_second: float) -> str:
    """Return which of two is taken when the first is off by 0.1 in the logs, the second by so much."""
    actual = np.full(20, np.expm1(4.0))
    first, second = Method("first", "", season_mean), Method("second", "", season_mean)
    made = {"first": np.expm1([4.1] * 3), "second": np.expm1([4.0 + error_of_second] * 3)}
    folds = tuple(Fold(origin, made) for origin in (14, 15, 16))
    return choose(actual, folds, Fold(20, made), (first, second)).method.name


@pytest.mark.parametrize(("error", "taken"), [(0.089, "second"), (0.091, "first"), (0.3, "first")])
def test_another_method_replaces_the_one_to_beat_only_when_clearly_better(error, taken):
    assert two_methods(error) == taken


def test_methods_are_compared_over_the_origins_that_both_knew_enough_for():
    actual = np.full(20, np.expm1(4.0))
    first, second = Method("first", "", season_mean), Method("second", "", season_mean)
    far_off, close = np.expm1([5.0] * 3), np.expm1([4.0] * 3)
    early = tuple(Fold(origin, {"first": far_off}) for origin in (4, 5, 6))
    late = tuple(Fold(origin, {"first": close, "second": np.expm1([4.01] * 3)}) for origin in (14, 15, 16))
    ahead = Fold(20, {"first": close, "second": close})
    assert choose(actual, early + late, ahead, (first, second)).method is first


def test_the_back_test_knows_nothing_of_what_came_after_its_origin():
    counts = np.concatenate([STEADY, [400.0]])
    folds = back_test(counts, 3, SIMPLE[:1], range(12, 13))
    assert folds[0].forecasts["mean_12_months"] == pytest.approx(np.full(3, STEADY.mean()))


def test_no_forecast_is_surer_than_the_chance_of_counts():
    found = forecast(np.full(12, 25.0), 6)
    assert found.spread.deviations == pytest.approx(np.full(6, 1 / np.sqrt(26)))


def test_worse_back_tests_give_a_wider_interval():
    calm = forecast(STEADY, 6).spread.deviations
    wild = forecast(STEADY + np.tile([25.0, -25.0], 6), 6).spread.deviations
    assert (wild > 2 * calm).all()


def test_paths_spread_as_the_interval_says_and_repeat_exactly():
    found = forecast(STEADY, 6)
    paths = found.paths(20_000, generator_for("T", "stays"))
    wanted = found.spread.quantiles(found.centre, (0.1, 0.5, 0.9))
    assert np.percentile(paths, [10, 50, 90], axis=0) == pytest.approx(wanted, abs=1.5)
    assert (paths[:50] == found.paths(20_000, generator_for("T", "stays"))[:50]).all()
    assert (paths[:50] != found.paths(20_000, generator_for("T", "other"))[:50]).any()


def test_neighbouring_months_err_together():
    found = forecast(STEADY, 6)
    logs = np.log1p(found.paths(20_000, generator_for("T", "stays")))
    assert np.corrcoef(logs[:, 2], logs[:, 3])[0, 1] == pytest.approx(found.spread.persistence, abs=0.05)
    assert found.spread.persistence >= 0.5


def test_quantiles_do_not_fall_below_0():
    assert Spread(np.array([2.0]), 0.5).quantiles(np.array([0.1]), (0.01,))[0, 0] == 0


def test_the_seasonal_naive_needs_more_than_a_year():
    assert SEASONAL_NAIVE.least(12) == 13


def test_coverage_is_judged_only_where_three_earlier_forecasts_tell_of_errors():
    counts = np.concatenate([STEADY, STEADY[:4]])
    methods = SIMPLE[:1]
    for number, judged in ((3, False), (4, True)):
        folds = back_test(counts, 2, methods, range(12, 12 + number))
        assert (score(counts, folds, "mean_12_months").coverage_80 is not None) is judged
