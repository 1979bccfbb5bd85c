"""The product-limit curve of one event with censoring, Greenwood's errors, and what is read off it.

Without a competing event 1 minus this curve is the cumulative incidence, which the measures use.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from pipeline.measures.competing_risks import risk_sets
from pipeline.measures.intervals import Z_95


@dataclass(frozen=True)
class Step:
    """The share `surviving` from `time` on; `hazard_variance` is Greenwood's sum, None when none is left."""

    time: int
    surviving: Fraction
    hazard_variance: Fraction | None

    @property
    def standard_error(self) -> float | None:
        """Greenwood's standard error of the share."""
        if self.hazard_variance is None:
            return None
        return float(self.surviving) * math.sqrt(self.hazard_variance)

    def log_limit(self, z: float) -> float | None:
        """Return the limit z standard errors away on the logarithmic scale; None when none is left."""
        if self.hazard_variance is None:
            return None
        return float(self.surviving) * math.exp(z * math.sqrt(self.hazard_variance))


def kaplan_meier(times: Sequence[int], happened: Sequence[bool]) -> list[Step]:
    """Return one step per distinct time at which the event happened; the other times are censored."""
    curve, surviving, variance = [], Fraction(1), Fraction(0)
    for time, at_risk, ended in risk_sets(times, happened):
        if ended[True]:
            left = at_risk - ended[True]
            surviving *= Fraction(left, at_risk)
            variance += Fraction(ended[True], at_risk * left) if left else 0
            curve.append(Step(time, surviving, variance if left else None))
    return curve


def survival_time(curve: Sequence[Step], level: float | Fraction) -> int | None:
    """Return the least time at which no more than the share `level` survives; None when it stays above."""
    return next((step.time for step in curve if step.surviving <= _exact(level)), None)


def midpoint_survival_time(curve: Sequence[Step], level: float | Fraction, last_time: int) -> float | None:
    """Return the same, but the middle of the flat where the curve stays exactly at `level`, as R does.

    The last flat ends at `last_time`, the longest time observed.
    """
    flats = pairwise([*curve, Step(last_time, Fraction(0), None)])
    for step, following in flats:
        if step.surviving == _exact(level):
            return (step.time + following.time) / 2
    return survival_time(curve, level)


def median_limits(curve: Sequence[Step], z: float = Z_95) -> tuple[int | None, int | None]:
    """Return the times at which the curve's lower and upper limits (log scale) come down to one half."""
    return _halved(curve, -z), _halved(curve, z)


def restricted_mean(curve: Sequence[Step], until: int) -> float:
    """Return the mean time without the event, counted up to `until`: the area under the curve."""
    steps = [(0, Fraction(1)), *((step.time, step.surviving) for step in curve if step.time < until)]
    ends = [time for time, _ in steps[1:]] + [until]
    return float(sum(share * (end - time) for (time, share), end in zip(steps, ends, strict=True)))


def _exact(level: float | Fraction) -> Fraction:
    """Return the decimal that was written, not the float nearest to it."""
    return level if isinstance(level, Fraction) else Fraction(str(level))


def _halved(curve: Sequence[Step], z: float) -> int | None:
    for step in curve:
        limit = step.log_limit(z)
        if (limit is None and z < 0) or (limit is not None and limit <= 0.5):
            return step.time
    return None
