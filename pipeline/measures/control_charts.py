"""Control charts: three-sigma limits from a frozen baseline.

Conventions: counts have no limit below 0 and proportions none above 1; moving ranges become sigma through
d2 = 1.128; a point without a denominator has no value, takes no part in the baseline and has no limits; nor
has any point where the baseline is too short to give them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

ALL = slice(None)
_D2 = 1.128
_DISPERSION_LEVEL = 0.01
_NEARLY_NORMAL = 1 / 3.6  # the power that makes exponential times nearly normal (Nelson 1994)


@dataclass(frozen=True)
class Point:
    """One period of a chart; what cannot be given is None.

    ``sigmas`` is how many sigmas the value lies from the centre, on the scale on which the limits are even.
    """

    value: float | None
    centre: float | None
    lower: float | None
    upper: float | None
    sigmas: float | None = None


def p_chart(counts: Sequence[float], totals: Sequence[float], baseline: slice = ALL) -> list[Point]:
    """Return the chart of the shares counts/totals; `baseline` picks the periods that set the centre."""
    return _attribute_chart(counts, totals, baseline, _binomial_sigma, highest=1.0, laney=False)


def u_chart(events: Sequence[float], exposures: Sequence[float], baseline: slice = ALL) -> list[Point]:
    """Return the chart of the rates events/exposures; with every exposure 1 it is the c chart."""
    return _attribute_chart(events, exposures, baseline, _poisson_sigma, highest=math.inf, laney=False)


def laney_p_chart(counts: Sequence[float], totals: Sequence[float], baseline: slice = ALL) -> list[Point]:
    """Return the p' chart (Laney 2002): limits widened, or narrowed, by the variation between periods.

    The unit of counts and totals does not matter, so hours out of hours will do.
    """
    return _attribute_chart(counts, totals, baseline, _binomial_sigma, highest=1.0, laney=True)


def laney_u_chart(events: Sequence[float], exposures: Sequence[float], baseline: slice = ALL) -> list[Point]:
    """Return the u' chart (Laney 2002), the same for rates."""
    return _attribute_chart(events, exposures, baseline, _poisson_sigma, highest=math.inf, laney=True)


def g_chart(gaps: Sequence[int], baseline: slice = ALL) -> list[Point]:
    """Return the chart of counts between rare events (Benneyan 2001).

    A gap counts what lay between two events, so events that follow at once have a gap of 0.
    """
    if not gaps[baseline]:
        return [Point(gap, None, None, None) for gap in gaps]
    centre = fmean(gaps[baseline])
    sigma = math.sqrt(centre * (centre + 1))
    lower, upper = max(0.0, centre - 3 * sigma), centre + 3 * sigma
    return [Point(gap, centre, lower, upper, _sigmas(gap - centre, sigma)) for gap in gaps]


def t_chart(times: Sequence[float], baseline: slice = ALL) -> list[Point]:
    """Return the chart of times between rare events: individuals of times ** (1/3.6), turned back."""
    powered = individuals_chart([time**_NEARLY_NORMAL for time in times], baseline)
    return [
        Point(
            time,
            _turned_back(point.centre),
            _turned_back(point.lower),
            _turned_back(point.upper),
            point.sigmas,
        )
        for time, point in zip(times, powered, strict=True)
    ]


def individuals_chart(values: Sequence[float], baseline: slice = ALL) -> list[Point]:
    """Return the chart of single values, sigma from the baseline's mean moving range."""
    centre = fmean(values[baseline]) if values[baseline] else None
    sigma = _moving_sigma(values[baseline])
    if centre is None or sigma is None:
        return [Point(value, centre, None, None) for value in values]
    lower, upper = centre - 3 * sigma, centre + 3 * sigma
    return [Point(value, centre, lower, upper, _sigmas(value - centre, sigma)) for value in values]


@dataclass(frozen=True)
class Dispersion:
    """How periods vary beside what chance alone gives.

    ``chi_squared`` is Pearson's sum of squared distances in sigmas, ``degrees`` the periods less one,
    ``probability`` that chance alone gives as much, ``spread`` Laney's sigma of z.
    """

    chi_squared: float
    degrees: int
    probability: float
    spread: float

    @property
    def is_shown(self) -> bool:
        """Over-dispersion: beyond the 99 % point of chi-squared, and wider by Laney's sigma of z."""
        return self.probability < _DISPERSION_LEVEL and self.spread > 1


def share_dispersion(counts: Sequence[float], totals: Sequence[float]) -> Dispersion | None:
    """Return how the shares counts/totals vary; None with under two periods or a share of none or all."""
    return _dispersion(counts, totals, _binomial_sigma)


def rate_dispersion(events: Sequence[float], exposures: Sequence[float]) -> Dispersion | None:
    """Return how the rates events/exposures vary; None with under two periods or without an event."""
    return _dispersion(events, exposures, _poisson_sigma)


def _dispersion(
    counts: Sequence[float], totals: Sequence[float], sigma: Callable[[float, float], float]
) -> Dispersion | None:
    from scipy.special import chdtrc

    known = [(count, total) for count, total in zip(counts, totals, strict=True) if total]
    if len(known) < 2:
        return None
    centre = sum(count for count, _ in known) / sum(total for _, total in known)
    if not sigma(centre, 1):
        return None
    distances = [(count / total - centre) / sigma(centre, total) for count, total in known]
    chi_squared, degrees = math.fsum(distance**2 for distance in distances), len(known) - 1
    spread = _moving_sigma(distances)
    assert spread is not None
    return Dispersion(chi_squared, degrees, float(chdtrc(degrees, chi_squared)), spread)


def _attribute_chart(
    counts: Sequence[float],
    totals: Sequence[float],
    baseline: slice,
    sigma: Callable[[float, float], float],
    highest: float,
    laney: bool,
) -> list[Point]:
    values = [count / total if total else None for count, total in zip(counts, totals, strict=True)]
    if not sum(totals[baseline]):
        return [Point(value, None, None, None) for value in values]
    centre = sum(counts[baseline]) / sum(totals[baseline])
    spread = _between_sigma(values[baseline], totals[baseline], centre, sigma) if laney else 1.0

    def point(value: float | None, total: float) -> Point:
        if value is None or spread is None:
            return Point(value, centre, None, None)
        wide = spread * sigma(centre, total)
        lower, upper = max(0.0, centre - 3 * wide), min(highest, centre + 3 * wide)
        return Point(value, centre, lower, upper, _sigmas(value - centre, wide))

    return [point(value, total) for value, total in zip(values, totals, strict=True)]


def _between_sigma(
    values: Sequence[float | None],
    totals: Sequence[float],
    centre: float,
    sigma: Callable[[float, float], float],
) -> float | None:
    """Return Laney's sigma of z, used even below 1; 1 where every sigma is 0, None with under two values."""
    pairs = [
        (value, sigma(centre, total))
        for value, total in zip(values, totals, strict=True)
        if value is not None
    ]
    if not all(width for _, width in pairs):
        return 1.0
    return _moving_sigma([(value - centre) / width for value, width in pairs])


def _moving_sigma(values: Sequence[float]) -> float | None:
    ranges = [abs(later - earlier) for earlier, later in pairwise(values)]
    return fmean(ranges) / _D2 if ranges else None


def _sigmas(distance: float, sigma: float) -> float | None:
    return distance / sigma if sigma else None


def _binomial_sigma(centre: float, total: float) -> float:
    return math.sqrt(centre * (1 - centre) / total)


def _poisson_sigma(centre: float, total: float) -> float:
    return math.sqrt(centre / total)


def _turned_back(powered: float | None) -> float | None:
    return None if powered is None else max(0.0, powered) ** (1 / _NEARLY_NORMAL)
