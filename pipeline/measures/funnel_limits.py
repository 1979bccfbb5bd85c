"""Limits of a funnel plot of shares: exact binomial, widened where units vary by more than chance.

Spiegelhalter, Funnel plots for comparing institutional performance, Stat Med 2005;24:1185-1202, with the
multiplicative over-dispersion of his appendix A.3.2. His exact limits are interpolated between counts to draw
a smooth curve, so that a unit on the quantile itself falls outside; here the quantile itself is the limit.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence

from pipeline.measures.intervals import Limits

#: Share of the units whose distance is drawn in to the next one at either end, so that outliers widen nothing.
_WINSORISED = 0.1

#: With fewer units that tenth is no whole unit, and one that stands apart would widen its own limits.
LEAST_UNITS = 10


def funnel_limits(total: int, centre: float, level: float, dispersion: float = 1.0) -> Limits:
    """Return limits such that a share of ``total`` cases lies strictly outside by chance in at most 1 - level.

    No more than half of that on either side. ``dispersion`` (a variance ratio) widens the distance from the
    centre by its square root. Limits stay within 0 and 1.
    """
    tail = (1 - level) / 2
    exact = (_quantile(total, centre, probability) / total for probability in (tail, 1 - tail))
    low, high = (centre + math.sqrt(dispersion) * (limit - centre) for limit in exact)
    return max(0.0, low), min(1.0, high)


def _quantile(total: int, share: float, probability: float) -> int:
    """Return the least count that as many cases reach, or stay below, with at least that probability."""
    from scipy.special import bdtr

    return bisect_left(range(total), probability, key=lambda count: float(bdtr(count, total, share)))


def over_dispersion(counts: Sequence[float], totals: Sequence[float]) -> float:
    """Return by how much the shares' variance exceeds chance, 1 where that is not shown or units are too few.

    The mean square of the distances in sigmas, the outermost tenth at each end drawn in. It counts as shown
    above the 95 % point of chi-squared, which has one degree less than there are units.
    """
    from scipy.special import chdtrc

    centre = sum(counts) / sum(totals)
    if not 0 < centre < 1 or len(counts) < LEAST_UNITS:
        return 1.0
    sigmas = [
        (count / total - centre) / math.sqrt(centre * (1 - centre) / total)
        for count, total in zip(counts, totals, strict=True)
    ]
    squares = math.fsum(value**2 for value in _drawn_in(sigmas))
    shown = chdtrc(len(sigmas) - 1, squares) < 0.05
    return squares / len(sigmas) if shown else 1.0


def _drawn_in(values: Sequence[float]) -> list[float]:
    """Return the values with those beyond the 10 % and 90 % quantiles set to the quantile."""
    ordered = sorted(values)
    low, high = _between(ordered, _WINSORISED), _between(ordered, 1 - _WINSORISED)
    return [min(max(value, low), high) for value in values]


def _between(ordered: Sequence[float], share: float) -> float:
    place = share * (len(ordered) - 1)
    before = math.floor(place)
    after = min(before + 1, len(ordered) - 1)
    return ordered[before] + (place - before) * (ordered[after] - ordered[before])
