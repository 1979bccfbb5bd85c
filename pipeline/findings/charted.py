"""A site's control charts as the page shows them: those of the published table, cut at the month of the report."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TypeVar

from pipeline.findings.model import Difference, Point, Reference
from pipeline.findings.source import SITE, Source
from pipeline.measures.intervals import newcombe_difference, wilson
from pipeline.signals.charts import Chart, ChartPoint, Stretch
from pipeline.signals.months import month_of
from pipeline.signals.phases import changes_of
from pipeline.signals.series import SHARES, Series

P = TypeVar("P", Point, ChartPoint)

#: Charts of the gaps between rare cases, whose points are cases and not months.
GAPS = ("g", "t")


def charts_of(source: Source, measure: str, ward: str = SITE) -> tuple[Chart, ...]:
    """Return the charts of a measure up to the month of the report; none where the data do not suffice."""
    found = (chart for chart in source.charts.drawn if (chart.measure, chart.ward) == (measure, ward))
    return tuple(cut for chart in found if (cut := _cut(source, chart)).points)


def why_not_drawn(source: Source, measure: str) -> str:
    """Return the sentence that stands in place of the site's chart of a measure."""
    thin = source.charts.too_thin
    told = (item.sentence for item in thin if (item.measure, item.ward) == (measure, SITE))
    return next(told, f"No chart for the site: there are no records of this up to {source.month_words}.")


def is_of_gaps(chart: Chart) -> bool:
    """Say whether a chart's points are cases and not months."""
    return chart.stretches[0].chart in GAPS


def instant_of(point: ChartPoint) -> datetime:
    """Return when (naive UTC) the case was that ends a gap."""
    return datetime.fromisoformat(point.period[:19])


def month_of_point(source: Source, chart: Chart, point: ChartPoint) -> str:
    """Return the local month of a point."""
    return month_of(source.rules, instant_of(point)) if is_of_gaps(chart) else point.period


def points_in(source: Source, chart: Chart, months: Sequence[str]) -> list[ChartPoint]:
    """Return the points of a chart that lie in these months."""
    return [point for point in chart.points if month_of_point(source, chart, point) in months]


def signals_now(source: Source, charts: Sequence[Chart]) -> list[tuple[Chart, ChartPoint]]:
    """Return the signals in the month of the report, those on the worse side first."""
    found = [
        (chart, point)
        for chart in charts
        for point in points_in(source, chart, (source.month,))
        if point.signal
    ]
    return sorted(found, key=lambda pair: not is_worse(*pair))


def is_worse(chart: Chart, point: ChartPoint) -> bool:
    """Say whether a point lies on the worse side of the centre; gaps between cases are better when longer."""
    return side(point) == {"lower": 1, "higher": -1}.get(chart.better, 0)


def side(point: Point | ChartPoint) -> int:
    """Return 1 above the centre, -1 below, 0 on it or where that cannot be said."""
    if point.value is None or point.centre is None or math.isclose(point.value, point.centre, rel_tol=1e-12):
        return 0
    return 1 if point.value > point.centre else -1


def run_now(points: Sequence[P]) -> list[P]:
    """Return the unbroken run of months on one side of the latest centre that ends with the last month."""
    run: list[P] = []
    last = side(points[-1])
    for point in reversed(points):
        if point.value is None:
            continue
        if not last or side(point) != last or point.centre != points[-1].centre:
            break
        run.insert(0, point)
    return run


def stretch_in_force(charts: Sequence[Chart]) -> Stretch | None:
    """Return what the month of the report is judged by, None where nothing sets limits."""
    latest = charts[0].stretches[-1] if charts else None
    return latest if latest and latest.sets_limits else None


def reference_of(series: Series | None, charts: Sequence[Chart]) -> Reference:
    """Return the baseline of the month of the report, pooled; without months where there is none."""
    stretch = stretch_in_force(charts)
    if series is None or stretch is None:
        return Reference((), True)
    inside = [
        (month, count, total)
        for month, count, total in zip(series.months, series.counts, series.totals, strict=True)
        if total and stretch.baseline_from <= month <= stretch.baseline_to
    ]
    count, total = (math.fsum(column) for column in list(zip(*inside, strict=True))[1:])
    return Reference(tuple(month for month, _, _ in inside), stretch.provisional, count / total, count, total)


def points_of(source: Source, series: Series | None, charts: Sequence[Chart]) -> tuple[Point, ...]:
    """Return a point for each month up to that of the report, with centre, limits and signals of the charts.

    A month in which a gap between cases ends with a signal has that signal.
    """
    if series is None:
        return tuple(Point(month, None) for month in source.months)
    known = dict(zip(series.months, zip(series.counts, series.totals, strict=True), strict=True))
    judged = {point.period: point for chart in charts if not is_of_gaps(chart) for point in chart.points}
    between = {
        month_of_point(source, chart, point): point.signal
        for chart in charts
        if is_of_gaps(chart)
        for point in chart.points
        if point.signal
    }
    found = (_counted(month, *known.get(month, (0.0, 0.0)), series.kind) for month in source.months)
    return tuple(
        _judged(point, judged[point.month])
        if point.month in judged
        else replace(point, signal=between.get(point.month, ""))
        for point in found
    )


def difference_from(reference: Reference, now: Point, kind: str) -> Difference | None:
    """Return the month's difference from the baseline, None for a month that belongs to it."""
    if now.value is None or reference.value is None or now.month in reference.months:
        return None
    limits = None
    if kind == SHARES:
        counts = (now.count, now.total, reference.count, reference.total)
        limits = newcombe_difference(*(round(number or 0) for number in counts))
    return Difference(now.value - reference.value, *(limits or (None, None)))


def declared_changes(source: Source, chart: Chart) -> tuple[tuple[datetime, str], ...]:
    """Return the day and words of each change declared for a chart's measure, up to the month of the report."""
    changes = changes_of(source.rules, chart.measure.partition(":")[0], chart.ward)
    return tuple(
        (datetime.combine(change.on, datetime.min.time()), change.what)
        for change in changes
        if f"{change.on:%Y-%m}" in source.shown_months
    )


def _cut(source: Source, chart: Chart) -> Chart:
    kept = tuple(point for point in chart.points if month_of_point(source, chart, point) <= source.month)
    stretches = tuple(item for item in chart.stretches if item.from_period <= source.month)
    return replace(chart, points=kept, stretches=stretches or chart.stretches[:1])


def _counted(month: str, count: float, total: float, kind: str) -> Point:
    if not total:
        return Point(month, None)
    if kind != SHARES:
        return Point(month, count / total, count, total)
    cases, of = round(count), round(total)
    return Point(month, cases / of, cases, of, *(wilson(cases, of) or (None, None)))


def _judged(point: Point, chart: ChartPoint) -> Point:
    return replace(
        point, low=chart.low, high=chart.high, centre=chart.centre, lower=chart.lower, upper=chart.upper,
        signal=chart.signal,
    )  # fmt: skip
