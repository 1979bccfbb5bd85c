"""How good forecasts were: scaled errors, pinball loss and coverage."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

#: The forecast's quantiles that are scored and published.
LEVELS = (0.1, 0.5, 0.9)


def naive_scale(history: Values, season: int) -> float:
    """Return the mean absolute change from one season to the next; of one step in less than two whole seasons.

    A handful of pairs a season apart may happen to lie close together, and would make every error look huge.
    The scale of Hyndman and Koehler (2006), International Journal of Forecasting 22:679-688.
    """
    lag = season if len(history) >= 2 * season else 1
    return float(np.abs(history[lag:] - history[:-lag]).mean()) if len(history) > lag else 0.0


def scaled_error(actual: Values, forecast: Values, scale: float) -> float | None:
    """Return the mean absolute error in units of the scale (MASE); None when nothing ever changed."""
    return float(np.abs(actual - forecast).mean() / scale) if scale else None


def pinball_loss(actual: Values, quantiles: Values, levels: tuple[float, ...] = LEVELS) -> float:
    """Return the mean pinball loss; ``quantiles`` has a row for each level.

    >>> pinball_loss(np.array([10.0]), np.array([[8.0]]), (0.9,))
    1.8
    """
    weights = np.array(levels)[:, None]
    apart = actual - quantiles
    return float(np.maximum(weights * apart, (weights - 1) * apart).mean())


def coverage(actual: Values, low: Values, high: Values) -> float:
    """Return the share of values within their interval, limits included."""
    return float(((actual >= low) & (actual <= high)).mean())
