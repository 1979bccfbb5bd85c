"""Months of a measure against its frozen baseline: centre, limits and signals."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.findings.model import Difference, Point, Reference, Share
from pipeline.measures import control_charts
from pipeline.measures.intervals import newcombe_difference
from pipeline.measures.run_rules import signals
from pipeline.site_rules import SiteRules

#: Months of a baseline where the rules name none.
FULL_BASELINE = 12

#: Fewer months than these set no limits: too little is known of how the months differ by chance.
LEAST_BASELINE = 6

#: Count and total of each month that has one.
Counts = Mapping[str, tuple[int, int]]


@dataclass(frozen=True)
class Charted:
    """A measure's months, and what they are compared with."""

    points: tuple[Point, ...]
    reference: Reference

    @property
    def difference(self) -> Difference | None:
        """The last month's difference from the reference, None for a month that belongs to it."""
        now = self.points[-1]
        if now.value is None or self.reference.value is None or now.month in self.reference.months:
            return None
        limits = _difference_limits(now.count, now.total, self.reference)
        low, high = limits or (None, None)
        return Difference(now.value - self.reference.value, low, high)


def _difference_limits(
    count: int | None, total: int | None, reference: Reference
) -> tuple[float, float] | None:
    if count is None or total is None or reference.count is None or reference.total is None:
        return None
    return newcombe_difference(count, total, reference.count, reference.total)


def chart_shares(counts: Counts, months: Sequence[str], rules: SiteRules) -> Charted:
    """Return the p chart of shares over the months; a month without a total has no value."""
    known = [counts.get(month, (0, 0)) for month in months]
    reference = _reference([month for month in months if counts.get(month, (0, 0))[1]], months[-1], rules)
    baseline = _positions(months, reference)
    charted = control_charts.p_chart([count for count, _ in known], [total for _, total in known], baseline)
    points = tuple(
        _with_share(Point(month, None), Share(*pair)) for month, pair in zip(months, known, strict=True)
    )
    pooled = (
        Share(*(sum(column) for column in zip(*known[baseline], strict=True))) if known[baseline] else None
    )
    if pooled and pooled.total:
        reference = replace(reference, value=pooled.value, count=pooled.count, total=pooled.total)
    return Charted(_with_chart(points, charted, reference), reference)


def chart_values(
    values: Mapping[str, float | None], months: Sequence[str], rules: SiteRules, most: float = math.inf
) -> Charted:
    """Return the individuals chart of values that lie between 0 and ``most``; a missing month has none."""
    known = [month for month in months if values.get(month) is not None]
    reference = _reference(known, months[-1], rules)
    baseline = _positions(known, reference)
    measured = [float(values[month] or 0) for month in known]
    by_month = dict(zip(known, control_charts.individuals_chart(measured, baseline), strict=True))
    nothing = control_charts.Point(None, None, None, None)
    charted = [_clipped(by_month.get(month, nothing), most) for month in months]
    centre = next((point.centre for point in by_month.values()), None)
    points = tuple(Point(month, values.get(month)) for month in months)
    reference = replace(reference, value=centre)
    return Charted(_with_chart(points, charted, reference), reference)


def run_now(points: Sequence[Point]) -> list[Point]:
    """Return the unbroken run of months on one side of the centre that ends with the last month."""
    run: list[Point] = []
    last = side(points[-1])
    for point in reversed(points):
        if point.value is None:
            continue
        if not last or side(point) != last:
            break
        run.insert(0, point)
    return run


def side(point: Point) -> int:
    """Return 1 above the centre, -1 below, 0 on it or where that cannot be said."""
    if point.value is None or point.centre is None or math.isclose(point.value, point.centre, rel_tol=1e-12):
        return 0
    return 1 if point.value > point.centre else -1


def _reference(assessable: Sequence[str], month: str, rules: SiteRules) -> Reference:
    """Return the months that the rules name, else the first twelve that can be assessed."""
    first, last = rules.baseline_from, rules.baseline_to
    inside = [item for item in assessable if (first or item) <= item <= (last or item)]
    if last:
        return Reference(tuple(inside), month < last)
    return Reference(tuple(inside[:FULL_BASELINE]), len(inside) < FULL_BASELINE)


def _positions(months: Sequence[str], reference: Reference) -> slice:
    if not reference.months:
        return slice(0, 0)
    return slice(months.index(reference.months[0]), months.index(reference.months[-1]) + 1)


def _with_share(point: Point, share: Share) -> Point:
    low, high = share.limits or (None, None)
    return replace(point, value=share.value, count=share.count, total=share.total, low=low, high=high)


def _clipped(point: control_charts.Point, most: float) -> control_charts.Point:
    if point.lower is None or point.upper is None:
        return point
    return replace(point, lower=max(0.0, point.lower), upper=min(most, point.upper))


def _with_chart(
    points: tuple[Point, ...], charted: Sequence[control_charts.Point], reference: Reference
) -> tuple[Point, ...]:
    """Add centre, limits and signals; none from a short baseline, no limits from one without variation."""
    if len(reference.months) < LEAST_BASELINE:
        return points
    usable = [point if _varies(point) else replace(point, lower=None, upper=None) for point in charted]
    return tuple(
        replace(point, centre=chart.centre, lower=chart.lower, upper=chart.upper, signal=signal)
        for point, chart, signal in zip(points, usable, signals(usable), strict=True)
    )


def _varies(point: control_charts.Point) -> bool:
    return point.lower is not None and point.upper is not None and point.lower < point.upper
