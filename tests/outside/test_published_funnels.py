"""Funnel limits and shrunken rates against scipy and the formulas of the papers that they come from."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import betabinom, binom, nbinom

from pipeline.measures.funnel_limits import funnel_limits, over_dispersion
from pipeline.measures.shrinkage import shrunken_ratios, shrunken_shares

CASES = st.tuples(st.integers(1, 3000), st.floats(0.005, 0.995))


@settings(deadline=None)
@given(CASES)
def test_the_limits_are_scipys_binomial_quantiles(case):
    total, centre = case
    for level in (0.95, 0.998):
        wanted = binom.ppf([(1 - level) / 2, (1 + level) / 2], total, centre) / total
        assert funnel_limits(total, centre, level) == pytest.approx(wanted, abs=1e-12)


@settings(deadline=None)
@given(CASES)
def test_no_more_than_a_thousandth_lies_strictly_outside_on_either_side(case):
    total, centre = case
    low, high = (round(limit * total) for limit in funnel_limits(total, centre, 0.998))
    assert binom.sf(high, total, centre) <= 0.001 + 1e-12
    assert binom.cdf(low - 1, total, centre) <= 0.001 + 1e-12


def test_many_cases_have_the_normal_limits():
    low, high = funnel_limits(100_000, 0.3, 0.95)
    half = 1.959964 * (0.3 * 0.7 / 100_000) ** 0.5
    assert (low, high) == pytest.approx((0.3 - half, 0.3 + half), abs=2e-5)


def test_over_dispersion_widens_by_its_square_root():
    narrow, wide = funnel_limits(500, 0.3, 0.998), funnel_limits(500, 0.3, 0.998, dispersion=4)
    assert wide[1] - 0.3 == pytest.approx(2 * (narrow[1] - 0.3))
    assert 0.3 - wide[0] == pytest.approx(2 * (0.3 - narrow[0]))


def test_limits_stay_within_0_and_1():
    assert funnel_limits(3, 0.01, 0.998)[0] == 0.0
    assert funnel_limits(3, 0.99, 0.998, dispersion=25) == (0.0, 1.0)


def test_over_dispersion_is_the_mean_square_of_distances_drawn_in_at_the_ends():
    # Spiegelhalter 2005, appendix A.3.2: eleven units, of which the least and the greatest become their neighbours
    counts = [30, 44, 45, 46, 50, 50, 50, 54, 55, 56, 70]
    centre = 50 / 100
    sigma = (centre * (1 - centre) / 100) ** 0.5
    drawn_in = [44, *counts[1:-1], 56]
    squares = sum(((count / 100 - centre) / sigma) ** 2 for count in drawn_in)
    shown = over_dispersion([count * 9 for count in counts], [900] * 11)
    assert shown == pytest.approx(9 * squares / 11)


def test_what_chance_explains_is_no_over_dispersion():
    assert over_dispersion([44, 45, 46, 50, 50, 50, 50, 54, 55, 56], [100] * 10) == 1.0


@pytest.mark.parametrize(("units", "widened"), [(9, False), (10, True)])
def test_fewer_than_ten_units_cannot_show_it(units, widened):
    counts = ([10, 90] * 5)[:units]
    assert (over_dispersion(counts, [100] * units) > 1) is widened


def test_units_without_a_case_are_not_over_dispersed():
    assert over_dispersion([0] * 12, [50] * 12) == 1.0


def prior(sizes: list[float]) -> list[tuple[float, float]]:
    """Return prior sizes and their weights: evenly in logit, so that degrees of drawing in are uniform."""
    middling = len(sizes) / sum(1 / size for size in sizes)
    odds = [math.exp(13.8 * (step / 80 - 1)) for step in range(161)]
    return [(middling * odd, odd / (1 + odd) ** 2) for odd in odds]


def test_scipys_beta_binomial_gives_the_same_shrunken_shares():
    counts, totals = [3, 20, 1], [10, 100, 40]
    pooled = 24 / 150
    likely, means = [], []
    for size, weight in prior(totals):
        for count, total in zip(counts, totals, strict=True):
            weight *= betabinom.pmf(count, total, size * pooled, size * (1 - pooled))
        likely.append(weight)
        means.append((counts[0] + size * pooled) / (totals[0] + size))
    wanted = sum(weight * mean for weight, mean in zip(likely, means, strict=True)) / sum(likely)
    assert shrunken_shares(counts, totals)[0].value == pytest.approx(wanted, rel=1e-9)


def test_scipys_gamma_poisson_gives_the_same_shrunken_ratios():
    observed, expected = [9, 2, 0], [4.0, 3.0, 4.0]
    likely, means = [], []
    for size, weight in prior(expected):
        for events, wanted in zip(observed, expected, strict=True):
            weight *= nbinom.pmf(events, size, size / (size + wanted))
        likely.append(weight)
        means.append((observed[0] + size) / (expected[0] + size))
    wanted = sum(weight * mean for weight, mean in zip(likely, means, strict=True)) / sum(likely)
    assert shrunken_ratios(observed, expected)[0].value == pytest.approx(wanted, rel=1e-9)


def test_a_shrunken_share_lies_between_its_own_and_the_whole_within_its_interval():
    for count, total, found in zip(
        [3, 20, 1], [10, 100, 40], shrunken_shares([3, 20, 1], [10, 100, 40]), strict=True
    ):
        assert min(count / total, 24 / 150) <= found.value <= max(count / total, 24 / 150)
        assert found.low < found.value < found.high


def test_a_small_unit_is_drawn_in_further_than_a_large_one():
    small, large = shrunken_shares([3, 300], [10, 1000])
    assert small.weight < large.weight


def test_units_that_differ_widely_are_drawn_in_little():
    alike, unlike = shrunken_shares([50, 50], [100, 100])[0], shrunken_shares([5, 95], [100, 100])[0]
    assert unlike.weight > alike.weight


def test_none_or_all_cannot_be_drawn_in():
    assert shrunken_shares([0, 0], [5, 9]) is None
    assert shrunken_shares([5, 9], [5, 9]) is None
