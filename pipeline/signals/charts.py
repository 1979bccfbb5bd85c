"""Control charts by month: shares, hours in limit, and water, each against its frozen baseline."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pipeline.measures import control_charts
from pipeline.measures.control_charts import Dispersion, rate_dispersion, share_dispersion
from pipeline.measures.intervals import Z_95, Limits, wilson
from pipeline.measures.run_rules import RunTest, run_test, signals
from pipeline.signals.phases import LEAST_MONTHS, Phase, changes_of, phases
from pipeline.signals.series import AMOUNTS, HOURS, SHARES, SITE, Series
from pipeline.site_events import SiteEvent
from pipeline.site_rules import SiteRules

#: A p chart needs this many of the rarer outcome expected in an average month of its baseline.
LEAST_EXPECTED = 1.0

#: A chart of the gaps between rare cases needs this many in its baseline.
LEAST_GAPS = 8


@dataclass(frozen=True)
class ChartPoint:
    """One period: its value with n and 95 % interval (``low``, ``high``), and centre and limits of the chart.

    ``period`` is a month, or the instant of a rare event. What cannot be given is None; ``signal`` is empty
    for none. ``chart`` is the kind of chart that judged it: p, u, g, t, laney_p or laney_u.
    """

    period: str
    value: float | None
    count: float
    total: float
    low: float | None
    high: float | None
    centre: float | None
    lower: float | None
    upper: float | None
    signal: str
    chart: str


@dataclass(frozen=True)
class Stretch:
    """What a part of a chart is judged by: the baseline's months, its n, and how its months vary.

    ``sets_limits`` is False where the baseline holds too little; ``change`` is the declared change it begins with.
    """

    from_period: str
    baseline_from: str
    baseline_to: str
    baseline_months: int
    provisional: bool
    sets_limits: bool
    chart: str
    dispersion: Dispersion | None
    change: SiteEvent | None


@dataclass(frozen=True)
class Chart:
    """A control chart of one measure in one ward ('*': the site), with the rule set that names its signals."""

    site_id: str
    ward: str
    measure: str
    better: str
    rule_set: str
    points: tuple[ChartPoint, ...]
    stretches: tuple[Stretch, ...]
    run_test: RunTest | None

    @property
    def provisional(self) -> bool:
        """Whether the latest baseline still gains months."""
        return self.stretches[-1].provisional


@dataclass(frozen=True)
class TooThin:
    """A chart that is not drawn, and why, in a plain sentence."""

    site_id: str
    ward: str
    measure: str
    sentence: str


_CHARTS: dict[str, Callable[..., list[control_charts.Point]]] = {
    "p": control_charts.p_chart,
    "laney_p": control_charts.laney_p_chart,
    "laney_u": control_charts.laney_u_chart,
}


def monthly_chart(series: Series, rules: SiteRules) -> Chart | None:
    """Return a series' chart, None where the data do not suffice for its limits.

    Shares have a p chart, or p' where over-dispersion of the baseline is shown. Hours of one episode go
    together, as do bags of one patient: part cover is always a p' chart and water always a u' chart.
    """
    assessable = [total > 0 for total in series.totals]
    changes = changes_of(rules, series.base, series.ward)
    parts = phases(series.months, assessable, changes, rules, lambda months: _is_enough(series, months))
    if all(part.baseline is None for part in parts):
        return None
    stretches = tuple(_stretch(series, part) for part in parts)
    points: list[ChartPoint] = []
    course: list[control_charts.Point] = []
    for part, stretch in zip(parts, stretches, strict=True):
        judged = _judged(series, part, stretch)
        course += judged
        points += _points(series, part, stretch, judged, rules.signal_rules)
    return Chart(
        series.site_id, series.ward, series.measure, series.better, rules.signal_rules, tuple(points), stretches,
        run_test(course),
    )  # fmt: skip


def _is_enough(series: Series, months: slice) -> bool:
    count, total = sum(series.counts[months]), sum(series.totals[months])
    if series.kind == AMOUNTS:
        return count > 0
    rarer = min(count, total - count)
    if series.kind == HOURS:
        return rarer > 0
    return rarer >= LEAST_EXPECTED * sum(value > 0 for value in series.totals[months])


def why_thin(series: Series, gaps: int | None) -> str:
    """Say in a plain sentence why a series has no chart; ``gaps`` are those known between rare cases, if any."""
    where = "the site" if series.ward == SITE else series.ward
    count, total, months = sum(series.counts), sum(series.totals), sum(value > 0 for value in series.totals)
    if months < LEAST_MONTHS:
        return f"No chart for {where}: {months} assessable months so far, and limits need {LEAST_MONTHS}."
    if series.kind != SHARES:
        return f"No chart for {where}: the months of the baseline do not differ, so chance sets no limits."
    told = f"No chart for {where}: {min(count, total - count):,.0f} in {total:,.0f} over {months} months"
    needed = f"a chart by month needs {LEAST_EXPECTED:g} a month on average in its baseline"
    if gaps is None:
        return f"{told}; {needed}."
    return f"{told}; {needed}, and one of the gaps between them {LEAST_GAPS} gaps."


def _stretch(series: Series, phase: Phase) -> Stretch:
    months = phase.baseline or slice(phase.start, phase.stop)
    counts, totals = series.counts[months], series.totals[months]
    measured = rate_dispersion if series.kind == AMOUNTS else share_dispersion
    dispersion = measured(counts, totals)
    names = series.months[months]
    return Stretch(
        from_period=series.months[phase.start], baseline_from=names[0], baseline_to=names[-1],
        baseline_months=sum(total > 0 for total in totals), provisional=phase.provisional,
        sets_limits=phase.baseline is not None, chart=_kind_of_chart(series.kind, dispersion),
        dispersion=dispersion, change=phase.change,
    )  # fmt: skip


def _kind_of_chart(kind: str, dispersion: Dispersion | None) -> str:
    if kind == AMOUNTS:
        return "laney_u"
    return "laney_p" if kind == HOURS or (dispersion and dispersion.is_shown) else "p"


def _judged(series: Series, phase: Phase, stretch: Stretch) -> list[control_charts.Point]:
    start, stop = phase.start, phase.stop
    baseline = phase.baseline or slice(start, start)
    within = slice(baseline.start - start, baseline.stop - start)
    return _CHARTS[stretch.chart](series.counts[start:stop], series.totals[start:stop], within)


def _points(
    series: Series, phase: Phase, stretch: Stretch, judged: Sequence[control_charts.Point], rule_set: str
) -> list[ChartPoint]:
    found = []
    for offset, (point, signal) in enumerate(zip(judged, signals(judged, rule_set), strict=True)):
        count, total = series.counts[phase.start + offset], series.totals[phase.start + offset]
        low, high = _interval(series.kind, count, total, stretch.dispersion) or (None, None)
        found.append(
            ChartPoint(
                series.months[phase.start + offset], point.value, count, total, low, high,
                point.centre, point.lower, point.upper, signal, stretch.chart,
            )
        )  # fmt: skip
    return found


def _interval(kind: str, count: float, total: float, dispersion: Dispersion | None) -> Limits | None:
    """Return Wilson's limits of a share of cases; else those of the spread between the baseline's months."""
    if not total:
        return None
    if kind == SHARES:
        return wilson(round(count), round(total))
    if dispersion is None:
        return None
    value = count / total
    variance = value if kind == AMOUNTS else value * (1 - value)
    half = Z_95 * dispersion.spread * math.sqrt(variance / total)
    return max(0.0, value - half), (value + half if kind == AMOUNTS else min(1.0, value + half))
