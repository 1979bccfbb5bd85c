"""Charts of rare events: cases between those that went amiss (g), and the days between them (t)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.measures import control_charts
from pipeline.measures.run_rules import run_test, signals
from pipeline.signals.charts import LEAST_GAPS, Chart, ChartPoint, Stretch
from pipeline.signals.months import month_of
from pipeline.signals.phases import Phase, changes_of, phases
from pipeline.signals.series import Series
from pipeline.signals.trials import Gap
from pipeline.site_rules import SiteRules


def gap_charts(kinds: Sequence[str], series: Series, found: Sequence[Gap], rules: SiteRules) -> list[Chart]:
    """Return the charts of the kinds g and t, none where gaps are too few to set limits, or cases not rare.

    A gap belongs to the month in which it ends; one that reaches back over a change of baseline is left out.
    """
    parts, kept, of_gaps = _placed(series, found, rules)
    rare = sum(gap.between for gap in kept) >= len(kept)
    if not rare or all(part.baseline is None for part in parts):
        return []
    return [_chart(kind, series, kept, of_gaps, parts, rules) for kind in kinds]


def _placed(
    series: Series, found: Sequence[Gap], rules: SiteRules
) -> tuple[tuple[Phase, ...], list[Gap], list[int]]:
    """Return the phases, the gaps that lie in one of them whole, and the position of each one's month."""
    places = {month: position for position, month in enumerate(series.months)}
    of_gaps = [places[month_of(rules, gap.at)] for gap in found]
    assessable = [total > 0 for total in series.totals]
    changes = changes_of(rules, series.base, series.ward)
    parts = phases(
        series.months, assessable, changes, rules, lambda months: len(_inside(of_gaps, months)) >= LEAST_GAPS
    )
    crossing = set()
    for part in parts[1:]:
        crossing.update(_inside(of_gaps, slice(part.start, part.stop))[:1])
    kept = [number for number in range(len(found)) if number not in crossing]
    return parts, [found[number] for number in kept], [of_gaps[number] for number in kept]


def _inside(of_gaps: Sequence[int], months: slice) -> list[int]:
    """Return the numbers of the gaps that end in these months."""
    return [number for number, place in enumerate(of_gaps) if months.start <= place < months.stop]


def _chart(
    kind: str, series: Series, found: list[Gap], of_gaps: list[int], parts: Sequence[Phase], rules: SiteRules
) -> Chart:
    names = _periods(found)
    points: list[ChartPoint] = []
    course: list[control_charts.Point] = []
    for part in parts:
        inside = _inside(of_gaps, slice(part.start, part.stop))
        judged = _judged(kind, found, inside, of_gaps, part)
        course += judged
        for number, point, signal in zip(inside, judged, signals(judged, rules.signal_rules), strict=True):
            points.append(
                ChartPoint(
                    names[number], point.value, 1, found[number].between + 1, None, None,
                    point.centre, point.lower, point.upper, signal, kind,
                )
            )  # fmt: skip
    return Chart(
        series.site_id, series.ward, series.measure, "higher", rules.signal_rules, tuple(points),
        tuple(_stretch(kind, series, part) for part in parts), run_test(course),
    )  # fmt: skip


def _judged(
    kind: str, found: list[Gap], inside: list[int], of_gaps: list[int], part: Phase
) -> list[control_charts.Point]:
    baseline = len(_inside(of_gaps, part.baseline)) if part.baseline else 0
    skipped = sum(of_gaps[number] < part.baseline.start for number in inside) if part.baseline else 0
    within = slice(skipped, skipped + baseline)
    if kind == "g":
        return control_charts.g_chart([found[number].between for number in inside], within)
    return control_charts.t_chart([found[number].days for number in inside], within)


def _stretch(kind: str, series: Series, part: Phase) -> Stretch:
    months = part.baseline or slice(part.start, part.stop)
    names = series.months[months]
    return Stretch(
        from_period=series.months[part.start], baseline_from=names[0], baseline_to=names[-1],
        baseline_months=sum(total > 0 for total in series.totals[months]), provisional=part.provisional,
        sets_limits=part.baseline is not None, chart=kind, dispersion=None, change=part.change,
    )  # fmt: skip


def _periods(found: Sequence[Gap]) -> list[str]:
    """Return each gap's end as text; of several at one instant the later ones are numbered."""
    seen: Counter[str] = Counter()
    names = []
    for gap in found:
        name = f"{gap.at:%Y-%m-%dT%H:%M:%SZ}"
        seen[name] += 1
        names.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return names
