"""How often intervals hold the truth, added up exactly over every outcome, not drawn at random.

Grid for shares: totals of 10, 20, 35, 50, 100, 200 and 500, true shares of 0.01 to 0.99 in steps of 0.01.
Grid for counts: means from 0.1 to 60 in steps of 0.1.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, poisson

from pipeline.measures.intervals import clopper_pearson, garwood, median_interval, rate_ratio_limits, wilson

TOTALS = (10, 20, 35, 50, 100, 200, 500)
SHARES = np.arange(0.01, 0.995, 0.01)
MEANS = np.arange(0.1, 60.05, 0.1)


def coverage(interval, total: int) -> np.ndarray:
    """Return for each true share the probability that the interval of the outcome holds it."""
    counts = np.arange(total + 1)
    limits = np.array([interval(int(count), total) for count in counts])
    chances = binom.pmf(counts[:, None], total, SHARES)
    held = (limits[:, :1] <= SHARES) & (limits[:, 1:] >= SHARES)
    return (chances * held).sum(axis=0)


@pytest.mark.parametrize("total", TOTALS)
def test_exact_binomial_limits_never_cover_less_than_95_percent(total):
    assert coverage(clopper_pearson, total).min() >= 0.95


@pytest.mark.parametrize("total", TOTALS)
def test_wilson_covers_94_to_96_percent_on_average(total):
    assert 0.94 <= coverage(wilson, total).mean() <= 0.96


def test_wilson_covers_less_than_95_percent_at_some_shares():
    # so the check above is no formality: the average is what Wilson's limits promise
    assert coverage(wilson, 20).min() < 0.93


def test_exact_poisson_limits_never_cover_less_than_95_percent():
    counts = np.arange(0, 160)
    limits = np.array([garwood(int(count)) for count in counts])
    chances = poisson.pmf(counts[:, None], MEANS)
    held = (limits[:, :1] <= MEANS) & (limits[:, 1:] >= MEANS)
    assert (chances * held).sum(axis=0).min() >= 0.95


@pytest.mark.parametrize("ratio", [0.2, 0.5, 1.0, 3.0])
def test_exact_limits_of_a_rate_ratio_never_cover_less_than_95_percent(ratio):
    # the other group has a mean of 6 over twice the exposure; outcomes without any event leave all ratios open
    counts = np.arange(0, 45)
    held = np.array([[_holds(int(first), int(other), ratio) for other in counts] for first in counts])
    chances = poisson.pmf(counts[:, None], 6 * ratio / 2) * poisson.pmf(counts[None, :], 6)
    assert (chances * held).sum() / chances.sum() >= 0.95


def _holds(first: int, other: int, ratio: float) -> bool:
    limits = rate_ratio_limits(first, 1.0, other, 2.0)
    return limits is None or limits[0] <= ratio <= limits[1]


@pytest.mark.parametrize("size", [6, 9, 25, 100, 1001])
def test_order_statistics_never_cover_the_median_less_than_95_percent(size):
    low, high = median_interval([float(rank) for rank in range(1, size + 1)])
    assert binom.cdf(high - 1, size, 0.5) - binom.cdf(low - 1, size, 0.5) >= 0.95
