"""How soon units come back from reprocessing: cumulative incidence with a competing event.

Times are whole seconds and shares are exact fractions, so that a curve that reaches one half does so on
every machine. Where events and censorings fall on one instant the events come first, as is usual: a time
censored at t is still at risk at t.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import groupby
from operator import itemgetter

EVENT = "reprocessed"
COMPETING = "bypassed"

Curve = list[tuple[int, Fraction]]


def cumulative_incidence(times: Sequence[int], statuses: Sequence[str]) -> Curve:
    """Return the Aalen-Johansen steps (second, share reprocessed by then), one per time with that event.

    `bypassed` competes, every other status censors; leave `not_assessable` rows out beforehand.
    """
    curve, reached, untouched = [], Fraction(0), Fraction(1)
    for time, at_risk, ended in risk_sets(times, statuses):
        if ended[EVENT]:
            reached += untouched * Fraction(ended[EVENT], at_risk)
            curve.append((time, reached))
        untouched *= 1 - Fraction(ended[EVENT] + ended[COMPETING], at_risk)
    return curve


def incidence_time(times: Sequence[int], statuses: Sequence[str], level: float) -> int | None:
    """Return the least time in seconds by which the share `level` is reprocessed; None when it never is."""
    return time_of(cumulative_incidence(times, statuses), level)


def time_of(curve: Curve, level: float) -> int | None:
    """Return the least time in seconds at which a curve reaches a level; None when it never does."""
    wanted = Fraction(str(level))  # the decimal that was written: nine of ten are 0.9, which no float is
    return next((time for time, share in curve if share >= wanted), None)


def incidence_at(times: Sequence[int], statuses: Sequence[str], target: float) -> float | None:
    """Return the share reprocessed within `target` seconds.

    None without rows, and when observation stops short of the target while any time is censored.
    """
    return share_at(cumulative_incidence(times, statuses), times, statuses, target)


def share_at(curve: Curve, times: Sequence[int], statuses: Sequence[str], target: float) -> float | None:
    """Return the same, read off the curve of these times."""
    if not times or (max(times) < target and not {EVENT, COMPETING}.issuperset(statuses)):
        return None
    within = [share for time, share in curve if time <= target]
    return float(within[-1]) if within else 0.0


def risk_sets(
    times: Sequence[int], statuses: Sequence[Hashable]
) -> Iterator[tuple[int, int, Mapping[Hashable, int]]]:
    """Yield each distinct time in order, the number still at risk then, and how many ended in each status."""
    counted = Counter(zip(times, statuses, strict=True))
    by_time = sorted(
        ((time, status, number) for (time, status), number in counted.items()), key=itemgetter(0)
    )
    at_risk = len(times)
    for time, group in groupby(by_time, key=itemgetter(0)):
        ended: defaultdict[Hashable, int] = defaultdict(int)
        for _, status, number in group:
            ended[status] = number
        yield time, at_risk, ended
        at_risk -= sum(ended.values())
