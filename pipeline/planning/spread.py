"""How far a forecast may be off, learnt from how far earlier ones were."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.stats import norm, t

Values = NDArray[np.float64]

#: Fewer earlier forecasts than this tell nothing about errors.
LEAST_FOLDS = 3

#: The errors of neighbouring months go together at least so far: else a year's total would seem too sure.
_LEAST_PERSISTENCE, _MOST_PERSISTENCE = 0.5, 0.95


@dataclass(frozen=True)
class Spread:
    """Standard deviation of log(1 + count) by step ahead, and the correlation of neighbouring steps."""

    deviations: Values
    persistence: float

    def quantiles(self, centre: Values, levels: tuple[float, ...]) -> Values:
        """Return a row of counts for each level about the centre (the median), not below 0."""
        logs = np.log1p(centre) + norm.ppf(np.array(levels))[:, None] * self.deviations
        quantiles: Values = np.maximum(np.expm1(logs), 0)
        return quantiles


def learnt_spread(errors: list[Values], span: int, centre: Values, rival_centres: list[Values]) -> Spread:
    """Return the spread from the errors (log scale) of earlier forecasts, each from its first step on.

    The variance grows on a straight line with the step. To it comes the variance among the candidates'
    own forecasts, for which of them holds from here on is not known. ``span`` is the time between the first
    and the last origin: forecasts that overlap share their errors, so that it counts, not their number.
    """
    horizon = len(centre)
    steps = np.concatenate([np.arange(1, len(error) + 1) for error in errors])
    line, _ = nnls(np.column_stack([np.ones(len(steps)), steps]), np.concatenate(errors) ** 2)
    variance = line[0] + line[1] * np.arange(1, horizon + 1)
    variance = variance + np.var([np.log1p(rival) for rival in rival_centres], axis=0)
    widening = t.ppf(0.9, 1 + span / horizon) / norm.ppf(0.9)
    return _floored(widening * np.sqrt(variance), centre, _persistence(errors))


def unlearnt_spread(history: Values, centre: Values) -> Spread:
    """Return the spread of months about their mean, for a history too short to back-test."""
    logs = np.log1p(history)
    deviation = logs.std(ddof=1) * np.sqrt(1 + 1 / len(history))
    widening = t.ppf(0.9, len(history) - 1) / norm.ppf(0.9)
    return _floored(np.full(len(centre), widening * deviation), centre, _LEAST_PERSISTENCE)


def _floored(deviations: Values, centre: Values, persistence: float) -> Spread:
    """No forecast of a count is surer than its Poisson variation."""
    return Spread(np.maximum(deviations, 1 / np.sqrt(centre + 1)), persistence)


def _persistence(errors: list[Values]) -> float:
    pairs = sum(float(error[:-1] @ error[1:]) for error in errors)
    squares = sum(float(error[:-1] @ error[:-1]) for error in errors)
    return float(np.clip(pairs / squares if squares else 0, _LEAST_PERSISTENCE, _MOST_PERSISTENCE))
