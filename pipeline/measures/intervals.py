"""Confidence limits for proportions, event counts and their comparisons.

Proportions carry Wilson limits and event rates Garwood's exact Poisson limits; the others are for
comparisons. A limit that cannot be given is None.
"""

from __future__ import annotations

import math

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
