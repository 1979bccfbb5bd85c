"""Ways to forecast a series of counts, each from its history alone.

All work on log(1 + count), on which seasons and growth are proportional and no forecast falls below 0.
The theta method is that of statsmodels: of the libraries measured it was the lighter one, for statsforecast
brings statsmodels along with some twenty packages more (fugue, triad, coreforecast and others).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.float64]


@dataclass(frozen=True)
class Method:
    """One way to forecast. ``least`` is the history it needs, in periods of the season plus ``more`` months."""

    name: str
    words: str
    forecast: Callable[[Counts, int, int], Counts]
    least_seasons: int = 0
    least_more: int = 0

    def least(self, season: int) -> int:
        """Return the least number of observations to forecast from."""
        return self.least_seasons * season + self.least_more


def seasonal_naive(counts: Counts, horizon: int, season: int) -> Counts:
    """Return what the same time a season ago brought.

    >>> seasonal_naive(np.array([1.0, 2.0, 3.0, 4.0]), 4, 3)
    array([2., 3., 4., 2.])
    """
    return counts[len(counts) - season + np.arange(horizon) % season]


def season_mean(counts: Counts, horizon: int, season: int) -> Counts:
    """Return the mean of the last season, or of all there is."""
    return np.full(horizon, counts[-season:].mean())


def quarter_mean(counts: Counts, horizon: int, season: int) -> Counts:
    """Return the mean of the last three observations."""
    return np.full(horizon, counts[-3:].mean())


def theta(counts: Counts, horizon: int, season: int) -> Counts:
    """Return the theta method's forecast: a season, half the trend and smoothing of the level.

    Assimakopoulos and Nikolopoulos (2000), International Journal of Forecasting 16:521-530.
    """
    from statsmodels.tsa.forecasting.theta import ThetaModel

    model = ThetaModel(np.log1p(counts), period=season, deseasonalize=True, use_test=False, method="additive")
    return _from_logs(model.fit().forecast(horizon))


def _from_logs(logs: Counts) -> Counts:
    forecast: Counts = np.maximum(np.expm1(np.asarray(logs, dtype=float)), 0)
    return forecast


SEASONAL_NAIVE = Method("seasonal_naive", "the same month a year before", seasonal_naive, 1, 1)
SEASON_MEAN = Method("mean_12_months", "the mean of the last 12 months", season_mean, 0, 3)
QUARTER_MEAN = Method("mean_3_months", "the mean of the last 3 months", quarter_mean, 0, 3)
THETA = Method("theta", "the theta method", theta, 2)

#: The mean of both on the log scale is the candidate to beat: mixtures rarely fail badly. Exponential smoothing
#: with a season was tried on real admissions and bed-days too, and made the choice worse than without it.
MIXED = (SEASONAL_NAIVE, THETA)
MIXTURE = Method(
    "mixture", "the mean of the theta method and the same month a year before", seasonal_naive, 2
)
SIMPLE = (SEASON_MEAN, QUARTER_MEAN, SEASONAL_NAIVE)


def candidates(history: int, season: int) -> tuple[Method, ...]:
    """Return the methods for a history of that length, the one to beat first.

    Below two seasons a season cannot be told from chance, so that only simple means compete there.
    """
    if history < THETA.least(season):
        return tuple(method for method in SIMPLE if history >= method.least(season))
    return (MIXTURE, *MIXED)


def forecasts(counts: Counts, horizon: int, season: int, methods: tuple[Method, ...]) -> dict[str, Counts]:
    """Return each method's forecast; one that fails on this history gives that of the seasonal naive."""
    plain = {
        method.name: _forecast(method, counts, horizon, season) for method in methods if method is not MIXTURE
    }
    if MIXTURE in methods:
        logs = [np.log1p(plain[method.name]) for method in MIXED]
        plain[MIXTURE.name] = np.expm1(np.mean(logs, axis=0))
    return plain


def _forecast(method: Method, counts: Counts, horizon: int, season: int) -> Counts:
    with warnings.catch_warnings(
        record=True
    ):  # a smoothing that stops short of its optimum is a forecast still
        try:
            found = method.forecast(counts, horizon, season)
        except (ValueError, np.linalg.LinAlgError):
            found = np.full(horizon, np.nan)
    return found if np.isfinite(found).all() else seasonal_naive(counts, horizon, season)
