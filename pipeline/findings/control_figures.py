"""Control charts as figures: the points of the published table, what judges them, and declared changes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from pipeline.findings.charted import (
    charts_of,
    declared_changes,
    instant_of,
    is_of_gaps,
    points_in,
    why_not_drawn,
)
from pipeline.findings.judging import reading_of
from pipeline.findings.model import Cell, Column, Figure, Table
from pipeline.findings.months import months_in_words
from pipeline.findings.naming import Kind, kind_of
from pipeline.findings.source import SITE, Source
from pipeline.findings.wording import lower_first, shown
from pipeline.signals.charts import Chart, ChartPoint
from pipeline.signals.definitions import rule_set_in_words

CHART_WORDS = {
    "p": "p chart",
    "u": "u chart",
    "laney_p": "p′ chart (Laney)",
    "laney_u": "u′ chart (Laney)",
    "g": "g chart of rare cases",
    "t": "t chart of rare cases",
}

#: What a chart of gaps shows: the kind of its values, and in words.
BETWEEN = {
    "g": ("count", "Cases that went well between two that did not"),
    "t": ("days", "Days between two cases that went amiss"),
}
#: The day of what was declared, and its words.
Event = tuple[datetime, str]

_TOTALS = {
    "cases": (Column("Cases", "count"), Column("Of", "count")),
    "hours": (Column("Hours in limit", "hours"), Column("Of", "hours")),
    "days": (Column("Water", "millilitres"), Column("Therapy days", "number")),
}
_JUDGED_BY = ("Baseline", "Lower limit", "Upper limit")

#: Cases that a chart of gaps shows, the latest: more could not be told apart, and a large pool has thousands.
SHOWN_CASES = 120

#: An axis begins at 0, unless all that it shows lies above this part of the highest.
_HIGH = 0.5


def control_figures(source: Source, measure: str, key: str, size: str = "half") -> tuple[Figure, ...]:
    """Return the site's charts of a measure, or one figure that says in a sentence why there is none.

    ``key`` begins the keys of the figures.
    """
    charts = charts_of(source, measure)
    if charts:
        return tuple(control_figure(source, chart, key, size) for chart in charts)
    kind = kind_of(measure)
    nothing = Table(f"{key}-chart", kind.subject, (Column("Month", "month"),), ())
    return (
        Figure(nothing.key, f"control_{kind.unit}", f"{kind.subject}: no chart", _subtitle(source, kind.plotted),
               nothing, size=size, note=why_not_drawn(source, measure)),
    )  # fmt: skip


def control_figure(source: Source, chart: Chart, key: str, size: str) -> Figure:
    """Return one chart; its title is the reading that the chart's rules gave for the month of the report."""
    kind, drawn_as = kind_of(chart.measure), chart.stretches[-1].chart
    subject = kind.subject if chart.ward == SITE else f"{chart.ward} – {lower_first(kind.subject)}"
    gaps = is_of_gaps(chart)
    points = points_in(source, chart, source.shown_months)
    latest = points[-SHOWN_CASES:]
    table = Table(
        f"{key}-{drawn_as}", f"{subject}: {CHART_WORDS[drawn_as]}",
        _gap_columns(drawn_as) if gaps else _month_columns(kind), _rows(chart, latest),
    )  # fmt: skip
    raised = not gaps and _is_raised(table)
    return Figure(
        table.key,
        f"{'gaps' if gaps else 'raised' if raised else 'control'}_{BETWEEN[drawn_as][0] if gaps else kind.unit}",
        f"{subject}: {_latest(source, chart, kind)} – {lower_first(reading_of(source, chart))}",
        _subtitle(source, (BETWEEN[drawn_as][1] if gaps else kind.plotted) + _how_many(len(points))),
        table,
        size=size,
        note=_note(source, chart, raised),
        events=declared_changes(source, chart)
        if latest == points
        else _since(latest[0], declared_changes(source, chart)),
        ward="" if chart.ward == SITE else chart.ward,
    )


def _since(first: ChartPoint, events: Sequence[Event]) -> tuple[Event, ...]:
    """Return the events that are not before a case."""
    return tuple(event for event in events if event[0] >= instant_of(first))


def _how_many(cases: int) -> str:
    """Say how many cases are shown, where not all are."""
    return f", the latest {SHOWN_CASES} of {cases:,} cases" if cases > SHOWN_CASES else ""


def _month_columns(kind: Kind) -> tuple[Column, ...]:
    numbers = (Column(name, kind.unit) for name in ("Value", "Low", "High", *_JUDGED_BY))
    return (Column("Month", "month"), *_TOTALS[kind.counted], *numbers, Column("Signal"))


def _gap_columns(drawn_as: str) -> tuple[Column, ...]:
    numbers = (Column(name, BETWEEN[drawn_as][0]) for name in ("Since the one before", *_JUDGED_BY))
    return (Column("Case on", "instant"), *numbers, Column("Signal"))


def _rows(chart: Chart, points: Sequence[ChartPoint]) -> tuple[tuple[Cell, ...], ...]:
    if is_of_gaps(chart):
        return tuple((instant_of(point), point.value, *_judging(point)) for point in points)
    return tuple(
        (point.period, *_basis(point, kind_of(chart.measure)), point.value, point.low, point.high,
         *_judging(point))
        for point in points
    )  # fmt: skip


def _basis(point: ChartPoint, kind: Kind) -> tuple[Cell, Cell]:
    """Return count and total, cases as whole numbers; nothing for a month that has none."""
    if not point.total:
        return None, None
    return (int(point.count), int(point.total)) if kind.counted == "cases" else (point.count, point.total)


def _judging(point: ChartPoint) -> tuple[Cell, ...]:
    return point.centre, point.lower, point.upper, signal_words(point)


def signal_words(point: ChartPoint) -> str:
    """Return the code of a point's signal as words, empty for none."""
    return point.signal.replace("_", " ")


def _is_raised(table: Table) -> bool:
    places = [place for place, column in enumerate(table.columns) if column.name in ("Value", "Low", "High")]
    seen = [value for row in table.rows for place in places if isinstance(value := row[place], float)]
    return min(seen, default=0.0) > _HIGH * max(seen, default=0.0)


def _latest(source: Source, chart: Chart, kind: Kind) -> str:
    points: Sequence[ChartPoint] = points_in(source, chart, source.shown_months)
    if not is_of_gaps(chart):
        return shown(points[-1].value if points else None, kind.unit)
    return (
        f"{shown(points[-1].value, BETWEEN[points[-1].chart][0])} between the latest two"
        if points
        else "none"
    )


def _subtitle(source: Source, plotted: str) -> str:
    return f"{plotted}, {source.period}"


def _note(source: Source, chart: Chart, raised: bool) -> str:
    stretch = chart.stretches[-1]
    baseline = months_in_words((stretch.baseline_from, stretch.baseline_to))
    provisional = ", still provisional" if stretch.provisional else ""
    told = [f"{CHART_WORDS[stretch.chart]}; baseline {baseline}{provisional}"]
    if stretch.change:
        told.append(f"set anew at “{stretch.change.what}”")
    if raised:
        told.append("the axis does not begin at 0")
    return f"{'; '.join(told)}. {rule_set_in_words(source.rules)}"
