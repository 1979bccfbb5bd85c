"""Limits of a cumulative incidence and of medians against lifelines, scipy and the Kaplan-Meier special case."""

from __future__ import annotations

import math
import random

import pytest
from lifelines import AalenJohansenFitter
from scipy.stats import binom, bootstrap

from pipeline.measures.competing_risks import cumulative_incidence
from pipeline.measures.incidence_limits import incidence_with_limits, step_at, time_limits
from pipeline.measures.intervals import Z_95, median_interval
from pipeline.measures.kaplan_meier import kaplan_meier
from pipeline.measures.robust import ratio_limits, robust_scale

CODES = {"reprocessed": 1, "bypassed": 2, "waiting": 0}


@pytest.fixture(scope="module")
def stays() -> tuple[list[int], list[str]]:
    rows = random.Random(7)
    times = rows.sample(range(1, 10_000), 120)  # no ties, which lifelines would jitter
    return times, rows.choices(list(CODES), weights=(6, 2, 2), k=120)


def test_lifelines_gives_the_same_shares_and_limits(stays):
    times, statuses = stays
    fitter = AalenJohansenFitter(calculate_variance=True)
    fitter.fit(times, [CODES[status] for status in statuses], event_of_interest=1)
    shares, spread = fitter.cumulative_density_.iloc[:, 0], fitter.variance_
    for step in incidence_with_limits(times, statuses):
        assert step.share == pytest.approx(shares[step.time], rel=1e-9)
        if math.isnan(spread[step.time]):  # lifelines divides by the none that are left after the last time
            continue
        half = Z_95 * math.sqrt(spread[step.time]) / (step.share * math.log(step.share))
        wanted = sorted(step.share ** math.exp(sign * half) for sign in (1, -1))
        assert (step.low, step.high) == pytest.approx(wanted, rel=1e-6)


def test_the_shares_are_those_of_the_exact_curve(stays):
    exact = cumulative_incidence(*stays)
    assert [(step.time, step.share) for step in incidence_with_limits(*stays)] == [
        (time, pytest.approx(float(share), rel=1e-12)) for time, share in exact
    ]


def test_without_a_competing_event_the_variance_is_greenwoods():
    rows = random.Random(3)
    times = [rows.randint(1, 30) for _ in range(80)]
    happened = [rows.random() < 0.7 for _ in times]
    found = incidence_with_limits(times, ["reprocessed" if it else "waiting" for it in happened])
    for step, survival in zip(found, kaplan_meier(times, happened), strict=True):
        if step.low is None:
            continue
        half = (math.log(math.log(step.low) / math.log(step.share))) / Z_95
        error = half * step.share * abs(math.log(step.share))
        assert error == pytest.approx(survival.standard_error, rel=1e-9)


def test_a_share_of_all_has_no_limits():
    last = incidence_with_limits([1, 2], ["reprocessed", "reprocessed"])[-1]
    assert (last.share, last.low, last.high) == (1.0, None, None)


def test_the_limits_of_a_time_lie_on_either_side_of_it(stays):
    curve = incidence_with_limits(*stays)
    earliest, latest = time_limits(curve, 0.4)
    middle = next(step.time for step in curve if step.share >= 0.4)
    assert earliest < middle < latest
    assert time_limits(curve, 0.99) == (None, None)


def test_the_step_at_a_time_is_the_last_one_up_to_it():
    curve = incidence_with_limits([5, 9], ["reprocessed", "waiting"])
    assert step_at(curve, 4) is None
    assert step_at(curve, 5).time == 5
    assert step_at([], 5) is None


@pytest.mark.parametrize(("size", "rank"), [(5, 0), (6, 1), (8, 1), (9, 2), (20, 6), (100, 40)])
def test_order_statistics_hold_the_median_with_at_least_95_percent(size, rank):
    # the ranks of Conover, Practical Nonparametric Statistics, from scipy's binomial
    found = median_interval([float(value) for value in range(1, size + 1)])
    assert found == ((rank, size + 1 - rank) if rank else None)
    if rank:
        assert binom.cdf(rank - 1, size, 0.5) <= 0.025 < binom.cdf(rank, size, 0.5)


def test_no_values_have_no_median_interval():
    assert median_interval([]) is None


def test_robust_scale_is_the_scaled_median_deviation():
    # Iglewicz & Hoaglin, How to Detect and Handle Outliers, 1993: 0.6745 (x - median) / MAD
    scale = robust_scale([2.1, 2.6, 2.4, 2.5, 2.3, 2.1, 2.3, 2.6, 8.2, 8.3])
    assert scale.centre == pytest.approx(2.45)
    assert scale.distance(8.2) == pytest.approx(0.6745 * (8.2 - 2.45) / 0.15, rel=1e-4)


def test_where_more_than_half_are_alike_the_mean_deviation_stands_in():
    # the same: (x - median) / (1.253314 mean absolute deviation)
    assert robust_scale([5, 5, 5, 5, 9]).distance(9) == pytest.approx(4 / (1.253314 * 0.8), rel=1e-6)
    assert robust_scale([5, 5]).distance(9) is None
    assert robust_scale([]) is None


def test_limits_of_a_ratio_of_sums_are_near_those_of_a_bootstrap():
    rows = random.Random(2)
    under = [rows.uniform(5, 15) for _ in range(40)]
    over = [1.2 * value + rows.gauss(0, 1) for value in under]
    low, high = ratio_limits(over, under)
    witness = bootstrap(
        (over, under), lambda a, b, axis: a.sum(axis) / b.sum(axis), paired=True, rng=1, n_resamples=2000
    )
    assert low == pytest.approx(witness.confidence_interval.low, abs=0.01)
    assert high == pytest.approx(witness.confidence_interval.high, abs=0.01)


def test_under_three_pairs_tell_nothing_of_a_ratio():
    assert ratio_limits([1, 2], [1, 2]) is None
    assert ratio_limits([1, 2, 3], [0, 0, 0]) is None
