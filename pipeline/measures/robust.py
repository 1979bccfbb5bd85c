"""Centres and spreads that a few odd values do not move, and limits of a ratio of sums."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median

from pipeline.measures.intervals import Limits

#: What makes the median absolute deviation, and the mean one, a standard deviation where values are normal.
_FROM_MEDIAN, _FROM_MEAN = 1.482602218505602, math.sqrt(math.pi / 2)


@dataclass(frozen=True)
class RobustScale:
    """The median of some values and their spread about it, as a standard deviation; 0 where all are alike."""

    centre: float
    spread: float

    def distance(self, value: float) -> float | None:
        """Return the robust z of a value; None where the spread is 0."""
        return (value - self.centre) / self.spread if self.spread else None


def robust_scale(values: Sequence[float]) -> RobustScale | None:
    """Return the scale of the values (Iglewicz & Hoaglin 1993); None without any.

    The spread is the median absolute deviation, or the mean one where more than half of the values are alike.
    """
    if not values:
        return None
    centre = median(values)
    deviations = [abs(value - centre) for value in values]
    spread = _FROM_MEDIAN * median(deviations) or _FROM_MEAN * fmean(deviations)
    return RobustScale(centre, spread)


def ratio_limits(numerators: Sequence[float], denominators: Sequence[float]) -> Limits | None:
    """Return 95 % limits of sum/sum from how the pairs differ (Cochran, Sampling Techniques 1977, 6.4).

    Student's t with one degree less than there are pairs; None with under three pairs or denominators of 0.
    """
    from scipy.special import stdtrit

    pairs, whole = len(numerators), math.fsum(denominators)
    if pairs < 3 or not whole:
        return None
    ratio = math.fsum(numerators) / whole
    squares = math.fsum(
        (over - ratio * under) ** 2 for over, under in zip(numerators, denominators, strict=True)
    )
    half = float(stdtrit(pairs - 1, 0.975)) * math.sqrt(pairs / (pairs - 1) * squares) / whole
    return max(0.0, ratio - half), ratio + half
