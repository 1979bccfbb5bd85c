"""What on a control chart is a signal: the reports' own two rules, and published sets under their names.

A run is broken by a point on the centre line. A point without a value neither adds to a run nor breaks it. A
signal stands at the point that completes it and at every further point for which it still holds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from pipeline.measures.control_charts import Point

RUN_LENGTH = 8
_LEAST_USEFUL = 10
BEYOND_LIMITS, RUN_OF_8 = "beyond_limits", "run_of_8"


def signals(points: Sequence[Point], rule_set: str = "limits_and_runs") -> list[str]:
    """Return each point's signal by a set of rules, empty for none.

    The reports' own set, ``limits_and_runs``, gives `beyond_limits` (strictly), else `run_of_8` on one side.
    A set of `PUBLISHED_SETS` gives the code of its first rule that fires.
    """
    return _own_signals(points) if rule_set == "limits_and_runs" else _fired(points, PUBLISHED_SETS[rule_set])


def _own_signals(points: Sequence[Point]) -> list[str]:
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
    """Say whether a point lies outside its limits; one on the centre does not, whatever sums leave behind."""
    if point.value is None or point.lower is None or point.upper is None or _side(point) == 0:
        return False
    return not point.lower <= point.value <= point.upper


@dataclass(frozen=True)
class Rule:
    """One published rule: `fires` judges the last `length` values, in sigmas from the centre."""

    name: str
    length: int
    fires: Callable[[Sequence[float]], bool]

    @property
    def code(self) -> str:
        """The signal's code in the published table."""
        return BEYOND_LIMITS if self.length == 1 else self.name.replace(" ", "_")


def _fired(points: Sequence[Point], rules: Sequence[Rule]) -> list[str]:
    known = [position for position, point in enumerate(points) if point.sigmas is not None]
    sigmas = [sigmas for point in points if (sigmas := point.sigmas) is not None]
    found = [""] * len(points)
    for rule in reversed(rules):  # the first rule has the last word
        for fired in firing(rule, sigmas):
            found[known[fired]] = rule.code
    return found


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


PUBLISHED_SETS = {"western_electric": WESTERN_ELECTRIC, "nelson_1984": NELSON}


@dataclass(frozen=True)
class RunTest:
    """The longest run on one side of the centre, the crossings of it, and what chance still allows of each."""

    useful: int
    longest_run: int
    longest_allowed: int
    crossings: int
    fewest_allowed: int

    @property
    def is_shown(self) -> bool:
        """Whether the course is other than chance by either count."""
        return self.longest_run > self.longest_allowed or self.crossings < self.fewest_allowed


def run_test(points: Sequence[Point]) -> RunTest | None:
    """Return the test of a whole course for runs (Anhøj & Olesen 2014); None with under ten useful points.

    Points on the centre line are left out first, as the authors do.
    """
    sides = [side for point in points if (side := _side(point))]
    if len(sides) < _LEAST_USEFUL:
        return None
    runs = [len(list(run)) for _, run in groupby(sides)]
    longest, fewest = anhoej_limits(len(sides))
    return RunTest(len(sides), max(runs), longest, len(runs) - 1, fewest)


def anhoej_limits(useful: int) -> tuple[int, int]:
    """Return the longest run and the fewest crossings still taken for chance (Anhøj & Olesen 2014).

    `useful` is the number of points off the centre line, at least 1.
    """
    crossings, ways = 0, 1
    while 20 * ways < 2 ** (useful - 1):  # up to the 5 % quantile of Binomial(useful - 1, 1/2)
        crossings += 1
        ways += math.comb(useful - 1, crossings)
    return round(math.log2(useful)) + 3, crossings
