"""Limits of a cumulative incidence with a competing event, and of the times read off it.

The variance is the delta method's (Marubini & Valsecchi, Analysing Survival Data from Clinical Trials and
Observational Studies, 1995, eq. 10.12), the limits lie on the log(-log) scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.measures.competing_risks import COMPETING, EVENT, risk_sets
from pipeline.measures.intervals import Z_95

#: A sum of many shares may end this near to all; what is truly not all is further off with fewer than a billion stays.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class IncidenceStep:
    """The share reprocessed by ``time`` (seconds) with 95 % limits; None at a share of all."""

    time: int
    share: float
    low: float | None
    high: float | None


def incidence_with_limits(times: Sequence[int], statuses: Sequence[str]) -> list[IncidenceStep]:
    """Return the Aalen-Johansen steps with limits; see `competing_risks.cumulative_incidence`."""
    steps, share, untouched = [], 0.0, 1.0
    left = left_share = left_square = own = cross = cross_share = 0.0
    for time, at_risk, ended in risk_sets(times, statuses):
        event, both = ended[EVENT], ended[EVENT] + ended[COMPETING]
        share += untouched * event / at_risk
        spread = both / (at_risk * (at_risk - both)) if both < at_risk else 0.0
        left, left_share, left_square = (
            left + spread,
            left_share + spread * share,
            left_square + spread * share**2,
        )
        own += untouched**2 * event * (at_risk - event) / at_risk**3
        weight = untouched * event / at_risk**2
        cross, cross_share = cross + weight, cross_share + weight * share
        untouched *= 1 - both / at_risk
        if event:
            variance = (
                share**2 * left
                - 2 * share * left_share
                + left_square
                + own
                - 2 * (share * cross - cross_share)
            )
            steps.append(IncidenceStep(time, share, *_limits(share, variance)))
    return steps


def _limits(share: float, variance: float) -> tuple[float | None, float | None]:
    if not 0 < share < 1 - _ROUNDING:
        return None, None
    half = Z_95 * math.sqrt(max(0.0, variance)) / (share * abs(math.log(share)))
    return share ** math.exp(half), share ** math.exp(-half)


def time_limits(curve: Sequence[IncidenceStep], level: float) -> tuple[int | None, int | None]:
    """Return the times by which the curve's upper and lower limits reach a level, None where one never does."""
    return (
        next(
            (step.time for step in curve if (step.share if step.high is None else step.high) >= level), None
        ),
        next((step.time for step in curve if (step.low or 0.0) >= level), None),
    )


def step_at(curve: Sequence[IncidenceStep], time: float) -> IncidenceStep | None:
    """Return the last step up to a time, None before the first."""
    return next((step for step in reversed(curve) if step.time <= time), None)
