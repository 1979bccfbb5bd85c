"""Confidence limits against published tables and other programs; `memory` marks sources that were not opened.

Limits that the program does not use are those of `test_published_witnesses.py`.
"""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint
from statsmodels.stats.rates import confint_poisson

from pipeline.measures.intervals import (
    clopper_pearson,
    garwood,
    newcombe_difference,
    rate_limits,
    rate_ratio_limits,
    wilson,
    wilson_high,
    wilson_low,
)
from pipeline.signals.rates import EventRate

Z_998 = 3.090232306167813

NEWCOMBE_1998 = "Newcombe, Stat Med 1998;17:857-872, table I (memory)"
R_BINOM = "R binom::binom.confint, stored in the statsmodels tests"
PHE = "PHEindicatormethods test workbook (Public Health England)"
WILSON = [
    # count, total, low, high, tolerance
    pytest.param(81, 263, 0.2553, 0.3662, 6e-5, id=NEWCOMBE_1998),
    pytest.param(15, 148, 0.0624, 0.1605, 6e-5, id=NEWCOMBE_1998),
    pytest.param(0, 20, 0, 0.1611, 6e-5, id=NEWCOMBE_1998),
    pytest.param(18, 20, 0.6989663547715128, 0.972133518786232, 1e-8, id=R_BINOM),
    pytest.param(4, 200, 0.00780442641634947, 0.05028708690582643, 1e-8, id=R_BINOM),
    pytest.param(19, 38, 0.348499283643951, 0.651500716356049, 1e-12, id="statsmodels clip test"),
    pytest.param(1, 100, 0.00176743, 0.0544862, 2e-6, id=PHE),
    pytest.param(65, 100, 0.55254443, 0.73635752, 2e-6, id=PHE),
    pytest.param(222, 3215, 0.060792, 0.07834, 2e-6, id=PHE),
]


@pytest.mark.parametrize(("count", "total", "low", "high", "tolerance"), WILSON)
def test_wilson(count, total, low, high, tolerance):
    assert wilson(count, total) == pytest.approx((low, high), abs=tolerance)


# PHEindicatormethods test workbook, 99.8 % limits
@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [(1, 100, 0.00087307, 0.10455445), (65, 100, 0.49549466, 0.77835406), (222, 3215, 0.056471, 0.084184)],
)
def test_wilson_at_another_level(count, total, low, high):
    assert wilson(count, total, Z_998) == pytest.approx((low, high), abs=2e-6)


# statsmodels test_confint_proportion_wilson_clip
@pytest.mark.parametrize(("count", "total", "end", "limit"), [(38, 38, 1, 1.0), (0, 77, 0, 0.0)])
def test_wilson_ends_exactly_at_none_and_all(count, total, end, limit):
    assert wilson(count, total)[end] == limit


def test_wilson_of_nothing_is_nothing():
    assert wilson(0, 0) is None


@pytest.mark.parametrize(("count", "total"), [(0, 0), (None, 5), (1, None)])
def test_a_missing_number_or_denominator_has_no_limits(count, total):
    assert wilson_low(count, total) is None
    assert wilson_high(count, total) is None


def test_the_single_limits_are_those_of_the_pair():
    assert (wilson_low(0, 3), wilson_high(0, 3)) == wilson(0, 3)


CLOPPER_PEARSON = [
    pytest.param(81, 263, 0.2527, 0.3676, 6e-5, id=NEWCOMBE_1998),
    pytest.param(15, 148, 0.0578, 0.1617, 6e-5, id=NEWCOMBE_1998),
    pytest.param(0, 20, 0, 0.1684, 6e-5, id=NEWCOMBE_1998),
    pytest.param(18, 20, 0.6830172859809176, 0.9876514728297052, 1e-8, id=R_BINOM),
    pytest.param(4, 200, 0.005475565879556443, 0.05041360908989634, 1e-8, id=R_BINOM),
]


@pytest.mark.parametrize(("count", "total", "low", "high", "tolerance"), CLOPPER_PEARSON)
def test_clopper_pearson(count, total, low, high, tolerance):
    assert clopper_pearson(count, total) == pytest.approx((low, high), abs=tolerance)


def test_clopper_pearson_at_the_ends():
    assert clopper_pearson(5, 5)[1] == 1.0
    assert clopper_pearson(0, 0) is None


# US National Vital Statistics Reports, technical notes: factors to multiply a count by (memory)
@pytest.mark.parametrize(
    ("events", "low", "high"),
    [(1, 0.02532, 5.57164), (10, 0.47954, 1.83904), (50, 0.74222, 1.31838), (99, 0.81275, 1.21746)],
)
def test_garwood_factors_of_vital_statistics(events, low, high):
    assert rate_limits(events, events) == pytest.approx((low, high), abs=6e-6)


# PHEindicatormethods test workbook
@pytest.mark.parametrize(
    ("events", "level", "low", "high"),
    [
        (1, 0.95, 0.025318, 5.571643),
        (1, 0.998, 0.001001, 9.233413),
        (5, 0.95, 1.623486, 11.668332),
        (5, 0.998, 0.739372, 16.454745),
    ],
)
def test_garwood_of_small_counts(events, level, low, high):
    assert garwood(events, level) == pytest.approx((low, high), abs=2e-6)


# epitools::pois.exact help
@pytest.mark.parametrize(("level", "high"), [(0.95, 3.689), (0.90, 2.996)])
def test_no_event_still_has_an_upper_limit(level, high):
    assert garwood(0, level) == (0.0, pytest.approx(high, abs=6e-4))


def test_limits_of_a_rate():
    # R DescTools::PoissonCI, stored in the statsmodels tests
    assert rate_limits(15, 400) == pytest.approx((0.0209884653319583, 0.0618505471787146), rel=1e-5)


def test_a_rate_over_no_exposure_has_no_limits():
    assert rate_limits(0, 0) is None


def test_exact_limits_are_those_that_byar_approximates():
    # PHEindicatormethods test workbook, Byar's approximation from ten events on: 20 events, at 95 % and 99.8 %
    assert garwood(20) == pytest.approx((12.211429, 30.88988), rel=1e-3)
    assert garwood(20, 0.998) == pytest.approx((8.922802, 38.085036), rel=5e-3)


def test_standardised_ratios():
    # the same: exact below ten events, Byar's approximation for 895
    assert rate_limits(9, 835.883561) == pytest.approx((0.004923, 0.020439), abs=2e-6)
    assert rate_limits(895, 835.883561) == pytest.approx((1.001715, 1.143233), abs=2e-5)


# CDC NHSN macro of June 2011 (method published, figures computed, three decimals): exact below 15 observed.
@pytest.mark.parametrize(
    ("observed", "predicted", "low", "high"),
    [(0, 2.5, 0.0, 1.476), (4, 1.7, 0.641, 6.024), (3, 0.8, 0.773, 10.959)],
)
def test_infection_ratios_of_few_events(observed, predicted, low, high):
    assert [round(limit, 3) for limit in rate_limits(observed, predicted)] == [low, high]


def test_infection_ratio_of_fifteen_events():
    # the same macro takes Byar's approximation from 15 observed on: 0.419 to 1.237, where exact limits begin at 0.420
    assert rate_limits(15, 20) == pytest.approx((0.419, 1.237), abs=1e-3)


def test_relapses_per_week():
    # Rodríguez, Princeton notes on the data of Freireich et al. 1963: 30 relapses in 541 weeks of both arms
    placebo = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
    treated = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
    relapses = EventRate(len(placebo) + 9, sum(placebo) + sum(treated))
    assert (relapses.events, relapses.exposure) == (30, 541)
    assert relapses.value == pytest.approx(0.05545, abs=6e-6)
    assert relapses.limits[0] < 0.05545 < relapses.limits[1]


def test_rate_ratio_of_gu():
    # Gu et al., Biometrical J 2008, example 1: 60 in 51477.5 against 30 in 54308.7, ratio 2.11. Given the sum
    # the first count is binomial: scipy's exact limits of that share, turned into ratios, are the witness.
    low, high = rate_ratio_limits(60, 51477.5, 30, 54308.7)
    shares = binomtest(60, 90).proportion_ci(method="exact")
    odds = [share / (1 - share) * 54308.7 / 51477.5 for share in shares]
    assert (low, high) == pytest.approx(odds, rel=1e-9)
    assert low < 2.10999757175465 < high


def test_rate_ratio_of_rothman():
    # Rothman, Epidemiology: An Introduction, table 9-2, 90 % limits (his are log-Wald)
    assert rate_ratio_limits(136, 22050, 1709, 127650, 0.90) == pytest.approx((0.40, 0.53), abs=0.06)


def test_rate_ratios_that_have_no_end_or_no_meaning():
    assert rate_ratio_limits(3, 10, 0, 10)[1] == math.inf
    assert rate_ratio_limits(0, 10, 0, 10) is None
    assert rate_ratio_limits(1, 0, 1, 10) is None


@pytest.mark.parametrize(("first", "other"), [((56, 70), (48, 80)), ((9, 10), (3, 10)), ((0, 10), (0, 20))])
def test_statsmodels_gives_the_same_newcombe_difference(first, other):
    low, high = confint_proportions_2indep(*first, *other, method="newcomb", compare="diff")
    assert newcombe_difference(*first, *other) == pytest.approx((low, high), abs=1e-12)


def test_newcombe_differences_of_his_paper():
    # Newcombe, Stat Med 1998;17:873-890, method 10 (memory): 56/70 - 48/80 and 10/10 - 0/10
    assert newcombe_difference(56, 70, 48, 80) == pytest.approx((0.0524, 0.3339), abs=6e-5)
    assert newcombe_difference(10, 10, 0, 10) == pytest.approx((0.6075, 1.0), abs=6e-5)


def test_a_difference_to_nothing_has_no_limits():
    assert newcombe_difference(1, 2, 0, 0) is None
    assert newcombe_difference(0, 0, 1, 2) is None


SHARES = st.integers(1, 5000).flatmap(lambda total: st.tuples(st.integers(0, total), st.just(total)))


@settings(deadline=None)
@given(SHARES)
def test_statsmodels_gives_the_same_binomial_limits(share):
    assert wilson(*share) == pytest.approx(proportion_confint(*share, method="wilson"), abs=1e-12)
    assert clopper_pearson(*share) == pytest.approx(proportion_confint(*share, method="beta"), abs=1e-9)


@settings(deadline=None)
@given(st.integers(1, 500), st.floats(0.1, 1e4))
def test_statsmodels_gives_the_same_poisson_limits(events, exposure):
    witness = confint_poisson(events, exposure, method="exact-c")
    assert rate_limits(events, exposure) == pytest.approx(witness, rel=1e-9)


@settings(deadline=None)
@given(SHARES, st.integers(2, 50))
def test_wilson_holds_the_share_and_narrows_with_the_total(share, times):
    count, total = share
    low, high = wilson(count, total)
    narrower_low, narrower_high = wilson(count * times, total * times)
    assert 0 <= low <= count / total <= high <= 1
    assert narrower_high - narrower_low < high - low
