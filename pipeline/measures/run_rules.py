"""What on a control chart is a signal: the reports' own two rules, and published sets under their names.

A run is broken by a point on the centre line. A point without a value neither adds to a run nor breaks it. A
signal stands at the point that completes it and at every further point for which it still holds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pipeline.measures.control_charts import Point

RUN_LENGTH = 8
BEYOND_LIMITS, RUN_OF_8 = "beyond_limits", "run_of_8"


def signals(points: Sequence[Point]) -> list[str]:
    """Return each point's signal: `beyond_limits` (strictly), else `run_of_8` on one side, else empty."""
    found, run = [], 0
    for point in points:
        side = _side(point)
        if side is not None:
            run = run + side if run * side > 0 else side
        found.append(
            BEYOND_LIMITS if _is_beyond(point) else RUN_OF_8 if side and abs(run) >= RUN_LENGTH else ""
        )
    return found


def _side(point: Point) -> int | None:
    """Return 1 above the centre, -1 below, 0 on it (rounding aside), None where that cannot be said."""
    if point.value is None or point.centre is None:
        return None
    if math.isclose(point.value, point.centre, rel_tol=1e-12):
        return 0
    return 1 if point.value > point.centre else -1


def _is_beyond(point: Point) -> bool:
    if point.value is None or point.lower is None or point.upper is None:
        return False
    return not point.lower <= point.value <= point.upper


@dataclass(frozen=True)
class Rule:
    """One published rule: `fires` judges the last `length` values, in sigmas from the centre."""

    name: str
    length: int
    fires: Callable[[Sequence[float]], bool]


def firing(rule: Rule, sigmas: Sequence[float]) -> list[int]:
    """Return the positions, from 0, at which the rule fires."""
    windows = ((end - 1, sigmas[end - rule.length : end]) for end in range(rule.length, len(sigmas) + 1))
    return [position for position, window in windows if rule.fires(window)]


def _beyond(distance: float, needed: int) -> Callable[[Sequence[float]], bool]:
    """Return: the last value and in all at least `needed` lie beyond that distance on one side."""

    def fires(window: Sequence[float]) -> bool:
        side = math.copysign(1, window[-1])
        beyond = [value * side > distance for value in window]
        return beyond[-1] and sum(beyond) >= needed

    return fires


def _steps(window: Sequence[float]) -> list[float]:
    return [later - earlier for earlier, later in pairwise(window)]


def _trends(window: Sequence[float]) -> bool:
    steps = _steps(window)
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _alternates(window: Sequence[float]) -> bool:
    return all(earlier * later < 0 for earlier, later in pairwise(_steps(window)))


def _hugs_the_centre(window: Sequence[float]) -> bool:
    return all(abs(value) < 1 for value in window)


def _avoids_the_centre(window: Sequence[float]) -> bool:
    return all(abs(value) > 1 for value in window) and min(window) < 0 < max(window)


#: Western Electric, Statistical Quality Control Handbook (1956).
WESTERN_ELECTRIC = (
    Rule("one beyond 3 sigma", 1, _beyond(3, 1)),
    Rule("two of three beyond 2 sigma", 3, _beyond(2, 2)),
    Rule("four of five beyond 1 sigma", 5, _beyond(1, 4)),
    Rule("eight on one side", 8, _beyond(0, 8)),
)

#: Nelson, Journal of Quality Technology 16 (1984) 237-239, in his order.
NELSON = (
    Rule("one beyond 3 sigma", 1, _beyond(3, 1)),
    Rule("nine on one side", 9, _beyond(0, 9)),
    Rule("six rising or falling", 6, _trends),
    Rule("fourteen alternating", 14, _alternates),
    Rule("two of three beyond 2 sigma", 3, _beyond(2, 2)),
    Rule("four of five beyond 1 sigma", 5, _beyond(1, 4)),
    Rule("fifteen within 1 sigma", 15, _hugs_the_centre),
    Rule("eight beyond 1 sigma on both sides", 8, _avoids_the_centre),
)


def anhoej_limits(useful: int) -> tuple[int, int]:
    """Return the longest run and the fewest crossings still taken for chance (Anhøj & Olesen 2014).

    `useful` is the number of points off the centre line, at least 1.
    """
    crossings, ways = 0, 1
    while 20 * ways < 2 ** (useful - 1):  # up to the 5 % quantile of Binomial(useful - 1, 1/2)
        crossings += 1
        ways += math.comb(useful - 1, crossings)
    return round(math.log2(useful)) + 3, crossings
