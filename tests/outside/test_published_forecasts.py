"""The smoothing that the forecasts rest on, against published examples; and the scores against their definitions.

`memory` marks figures that were not opened at their source but recomputed. Optimised parameters differ from
program to program, so that the tests fix them or take them loosely.
"""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.tsa.holtwinters import Holt, SimpleExpSmoothing

from pipeline.planning.methods import THETA, forecasts, seasonal_naive, theta
from pipeline.planning.scores import coverage, naive_scale, pinball_loss, scaled_error

# Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 1st ed., 7.1: oil, 1996 to 2007.
OIL = [446.6565229, 454.4733065, 455.662974, 423.6322388, 456.2713279, 440.5880501]
OIL += [425.3325201, 485.1494479, 506.0481621, 526.7919833, 514.268889, 494.2110193]

# The same book, 2nd ed., 7.1: oil, 1996 to 2013, a later revision.
OIL_2 = [445.364098092, 453.195010427, 454.409641012, 422.378905779, 456.037121728, 440.386604674]
OIL_2 += [425.194372519, 486.20517351, 500.429086073, 521.27590917, 508.947617045, 488.888857729]
OIL_2 += [509.870574978, 456.722912348, 473.816602915, 525.950870565, 549.833807597, 542.340469826]

# The same book, 1st ed., 7.2: air passengers, 1990 to 2004.
AIR = [17.5534, 21.8601, 23.8866, 26.9293, 26.8885, 28.8314, 30.0751, 30.9535]
AIR += [30.1857, 31.5797, 32.577569, 33.477398, 39.021581, 41.386432, 41.596552]

# NIST/SEMATECH e-Handbook 6.4.3.
NIST_SINGLE = [71, 70, 69, 68, 64, 65, 72, 78, 75, 75, 75, 70]
NIST_DOUBLE = [6.4, 5.6, 7.8, 8.8, 11.0, 11.6, 16.7, 15.3, 21.6, 22.4]


def test_simple_smoothing_with_a_fixed_weight():
    model = SimpleExpSmoothing(np.array(OIL), initialization_method="known", initial_level=OIL[0])
    assert model.fit(smoothing_level=0.2, optimized=False).forecast(1)[0] == pytest.approx(
        484.802468, abs=1e-4
    )


def test_simple_smoothing_of_the_handbook():
    # First smoothed value is the first observation, alpha 0.1: last smoothed 71.67, MSE 19.0 (memory).
    # The handbook's S of a period is the forecast of that period, from the observations before it.
    counts = np.array(NIST_SINGLE, dtype=float)
    model = SimpleExpSmoothing(counts, initialization_method="known", initial_level=71)
    fitted = model.fit(smoothing_level=0.1, optimized=False)
    errors = counts[1:] - fitted.fittedvalues[1:]
    assert fitted.fittedvalues[-1] == pytest.approx(71.67, abs=0.03)
    assert np.mean(errors**2) == pytest.approx(19.0, abs=0.03)


@pytest.mark.parametrize(
    ("oil", "forecast", "within"),
    [(OIL, 496.493543, 0.01), (OIL_2, 542.6806, 0.006)],
    ids=["1st ed.", "2nd ed."],
)
def test_simple_smoothing_with_the_best_weight(oil, forecast, within):
    fitted = SimpleExpSmoothing(np.array(oil), initialization_method="estimated").fit()
    assert fitted.forecast(1)[0] == pytest.approx(forecast, abs=within)


def test_the_books_interval_from_the_residuals():
    # 95 % interval 484.2183 to 601.1429 with sigma = sqrt(SSE / (n - 2)), RMSE 28.12.
    fitted = SimpleExpSmoothing(np.array(OIL_2), initialization_method="estimated").fit()
    sigma = np.sqrt(fitted.sse / (len(OIL_2) - 2))
    centre = fitted.forecast(1)[0]
    assert np.sqrt(fitted.sse / len(OIL_2)) == pytest.approx(28.12, abs=0.006)
    assert [centre - 1.959964 * sigma, centre + 1.959964 * sigma] == pytest.approx(
        [484.2183, 601.1429], abs=0.02
    )


def test_holts_trend_with_fixed_weights():
    # alpha 0.8, beta* 0.2, l0 = y1, b0 = y2 - y1; the update is applied at the first observation too.
    model = Holt(
        np.array(AIR), initialization_method="known", initial_level=AIR[0], initial_trend=AIR[1] - AIR[0]
    )
    fitted = model.fit(smoothing_level=0.8, smoothing_trend=0.2, optimized=False)
    assert fitted.forecast(5) == pytest.approx([43.76, 45.59, 47.43, 49.27, 51.10], abs=0.006)


def test_double_smoothing_of_the_handbook():
    # alpha 0.3623, gamma 1.0, b1 the mean of the first three differences, 0.8 (forecasts from memory).
    model = Holt(
        np.array(NIST_DOUBLE[1:]), initialization_method="known", initial_level=6.4, initial_trend=0.8
    )
    fitted = model.fit(smoothing_level=0.3623, smoothing_trend=1.0, optimized=False)
    assert fitted.forecast(5) == pytest.approx([25.8, 28.7, 31.7, 34.6, 37.6], abs=0.051)


def test_theta_keeps_a_pure_season_and_goes_on_with_half_the_trend():
    # Hyndman and Billah (2003), IJF 19:287-290: simple smoothing with a drift of half the fitted slope.
    season = np.tile(np.log1p([30.0, 40.0, 60.0, 50.0]), 10)
    slope = 0.01
    logs = season + slope * np.arange(40)
    found = np.log1p(theta(np.expm1(logs), 8, 4)) - np.tile(season[:4], 2)
    assert np.diff(found) == pytest.approx(np.full(7, slope / 2), abs=0.002)


def test_a_method_that_fails_falls_back_on_the_same_month_a_year_before(monkeypatch):
    def fail(*_: object) -> None:
        raise ValueError("no optimum")

    monkeypatch.setattr("statsmodels.tsa.forecasting.theta.ThetaModel.fit", fail)
    counts = np.arange(30.0)
    assert forecasts(counts, 3, 12, (THETA,))[THETA.name].tolist() == seasonal_naive(counts, 3, 12).tolist()


def test_the_scaled_error_is_hyndman_and_koehlers():
    # In-sample seasonal changes of 2, 2 and 4: scale 8/3; errors of 4 and 0: mean 2, scaled 0.75.
    history = np.array([10.0, 20.0, 30.0, 12.0, 22.0, 34.0])
    scale = naive_scale(history, 3)
    assert scale == pytest.approx(8 / 3)
    assert scaled_error(np.array([14.0, 24.0]), np.array([10.0, 24.0]), scale) == pytest.approx(0.75)
    assert scaled_error(np.array([1.0]), np.array([1.0]), 0.0) is None


def test_the_pinball_loss_weighs_each_side_by_its_level():
    # Koenker and Bassett (1978): 0.9 · 2 when 2 too low at the level 0.9, 0.1 · 3 when 3 too high.
    actual = np.array([10.0, 10.0])
    assert pinball_loss(actual, np.array([[8.0, 13.0]]), (0.9,)) == pytest.approx((1.8 + 0.3) / 2)


def test_a_value_on_its_limit_is_covered():
    assert coverage(np.array([1.0, 2.0, 3.0]), np.full(3, 1.0), np.array([1.0, 1.5, 3.0])) == pytest.approx(
        2 / 3
    )


@pytest.mark.parametrize(("months", "scale"), [(23, 1.0), (24, 12.0)])
def test_errors_are_scaled_by_single_steps_until_two_seasons_are_whole(months, scale):
    history = np.arange(float(months))
    assert naive_scale(history, 12) == scale
