"""Confidence limits for proportions, event counts and their comparisons.

Proportions carry Wilson limits and event rates Garwood's exact Poisson limits; the others are for
comparisons. A limit that cannot be given is None.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence

Limits = tuple[float, float]

Z_95 = 1.959963984540054
"""The normal quantile of two-sided 95 % limits: 1.959964, here to the last digit of a float."""


def wilson(count: int, total: int, z: float = Z_95) -> Limits | None:
    """Return Wilson's limits of count/total without continuity correction; None when total is 0.

    >>> wilson(1, 2)
    (0.09453120573423074, 0.9054687942657693)
    """
    if total == 0:
        return None
    share, scale = count / total, 1 + z**2 / total
    centre = (share + z**2 / (2 * total)) / scale
    half = z * math.sqrt(share * (1 - share) / total + z**2 / (4 * total**2)) / scale
    # The ends are exact in theory; in floats the two terms need not cancel.
    low = 0.0 if count == 0 else max(0.0, centre - half)
    high = 1.0 if count == total else min(1.0, centre + half)
    return low, high


def wilson_low(count: int | None, total: int | None) -> float | None:
    """Return the lower 95 % Wilson limit; None when a number is missing or total is 0."""
    limits = None if count is None or total is None else wilson(count, total)
    return limits and limits[0]


def wilson_high(count: int | None, total: int | None) -> float | None:
    """Return the upper 95 % Wilson limit; None when a number is missing or total is 0."""
    limits = None if count is None or total is None else wilson(count, total)
    return limits and limits[1]


def clopper_pearson(count: int, total: int, level: float = 0.95) -> Limits | None:
    """Return the exact binomial limits of count/total, equal tails; None when total is 0."""
    from scipy.special import betaincinv

    if total == 0:
        return None
    tail = (1 - level) / 2
    low = 0.0 if count == 0 else float(betaincinv(count, total - count + 1, tail))
    high = 1.0 if count == total else float(betaincinv(count + 1, total - count, 1 - tail))
    return low, high


def newcombe_difference(
    count: int, total: int, other_count: int, other_total: int, z: float = Z_95
) -> Limits | None:
    """Return limits of count/total - other_count/other_total from the two Wilson intervals.

    Newcombe's hybrid score method (1998, method 10); None when a total is 0.
    """
    first, other = wilson(count, total, z), wilson(other_count, other_total, z)
    if first is None or other is None:
        return None
    share, other_share = count / total, other_count / other_total
    difference = share - other_share
    low = difference - math.hypot(share - first[0], other[1] - other_share)
    return low, difference + math.hypot(first[1] - share, other_share - other[0])


def median_interval(ordered: Sequence[float], level: float = 0.95) -> Limits | None:
    """Return distribution-free limits of the median from values in order; None with too few for the level.

    The order statistics between which the median lies with at least that probability (binomial, one half).
    """
    from scipy.special import bdtr

    size = len(ordered)
    below = bisect_right(range(size), (1 - level) / 2, key=lambda rank: float(bdtr(rank, size, 0.5)))
    return (ordered[below - 1], ordered[-below]) if below else None


def garwood(events: int, level: float = 0.95) -> Limits:
    """Return the exact Poisson limits of an event count, equal tails.

    The upper limit at level 0.90 is the one-sided 95 % bound.
    """
    from scipy.special import gammaincinv

    tail = (1 - level) / 2
    low = 0.0 if events == 0 else float(gammaincinv(events, tail))
    return low, float(gammaincinv(events + 1, 1 - tail))


def rate_limits(events: int, exposure: float, level: float = 0.95) -> Limits | None:
    """Return Garwood's limits of events/exposure; None when exposure is 0.

    With the expected number of events as the exposure they are those of a standardised ratio.
    """
    if exposure == 0:
        return None
    low, high = garwood(events, level)
    return low / exposure, high / exposure


def rate_ratio_limits(
    events: int, exposure: float, other_events: int, other_exposure: float, level: float = 0.95
) -> Limits | None:
    """Return exact limits of (events/exposure) / (other_events/other_exposure).

    Given their sum, the first count is binomial; its Clopper-Pearson limits are turned into ratios. The upper
    limit is infinite without other events; None without any event or any exposure.
    """
    shares = clopper_pearson(events, events + other_events, level)
    if shares is None or exposure == 0 or other_exposure == 0:
        return None
    low, high = (math.inf if share == 1 else share / (1 - share) for share in shares)
    return low * other_exposure / exposure, high * other_exposure / exposure
