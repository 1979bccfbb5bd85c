"""Control charts: points with their intervals, the baseline, its limits, signals as diamonds, declared changes."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.wording import shown
from reports.charts.axes import (
    Drawing,
    Rows,
    diamonds,
    dots,
    kept_apart,
    layered,
    month_axis,
    number_format,
    on,
    room,
    span_of,
    time_axis,
)
from reports.style import light

_HEIGHT = 180


def control(figure: Figure, rows: Rows) -> Drawing:
    """Return a chart by month; the kind is `control`, or `raised` with an axis that does not begin at 0, and a unit."""
    kind, _, unit = figure.chart.partition("_")
    low, high = span_of(rows, "Value", "Low", "High", "Upper limit")
    x = month_axis(rows, figure.size)
    spread = high - low if kind == "raised" else high
    axis = alt.Axis(format=number_format(unit, spread), title=None, tickCount=4)
    y = alt.Y("Value:Q", axis=axis, scale=alt.Scale(zero=kind == "control", nice=True))
    intervals = on().mark_rule(color=light("band"), strokeWidth=5).encode(x=x, y=_also("Low"), y2="High:Q")
    events = [
        {"Month": f"{at:%Y-%m}", "label": what} for at, what in figure.events if isinstance(at, datetime)
    ]
    return _drawing(rows, x, y, "Value", "Month", unit, events, [intervals])


def gaps(figure: Figure, rows: Rows) -> Drawing:
    """Return a chart of the gaps between rare cases, each at the time of the case that ends it."""
    unit = figure.chart.partition("_")[2]
    x, field = time_axis("Case on"), "Since the one before"
    y = alt.Y(f"{field}:Q", axis=alt.Axis(title=None, tickCount=4), scale=alt.Scale(zero=True, nice=True))
    events = [
        {"Case on": f"{at:%Y-%m-%d}", "label": what} for at, what in figure.events if isinstance(at, datetime)
    ]
    return _drawing(rows, x, y, field, "Case on", unit, events, [])


def _drawing(
    rows: Rows, x: alt.X, y: alt.Y, field: str, place: str, unit: str, events: Rows, behind: list[Any]
) -> Drawing:
    base = on().encode(x=x, y=y)
    layers, labels = _limits(base, rows, field, place, unit)
    layers += [base.mark_line(color=light("mark"), strokeWidth=1.25), dots(base, "mark")]
    if any(row.get("Signal") for row in rows):
        layers.append(diamonds(base.transform_filter("datum.Signal != ''")))
    if events:
        layers += _events(x)
    if labels:
        text = on("labels").mark_text(align="left", dx=8, fontSize=10)
        layers.append(text.encode(x=x, y=_also("at"), text="label:N"))
    chart = layered(*behind, *layers).properties(height=_HEIGHT, padding=room(8))
    return Drawing(chart, {"labels": labels, "events": events})


def _limits(base: Any, rows: Rows, field: str, place: str, unit: str) -> tuple[list[Any], Rows]:
    """Return the lines of the baseline and its limits, and their labels beside the last point."""
    layers, labels = [], []
    last = rows[-1] if rows else {}
    if last.get("Upper limit") is not None:
        dashed = base.mark_line(interpolate="step", color=light("spread"), strokeDash=[3, 3], strokeWidth=1)
        layers += [dashed.encode(y=_also("Lower limit")), dashed.encode(y=_also("Upper limit"))]
        labels.append((last["Upper limit"], "limit"))
    if last.get("Baseline") is not None:
        line = base.mark_line(interpolate="step", color=light("spread"), strokeWidth=1)
        layers.append(line.encode(y=_also("Baseline")))
        labels.append((last["Baseline"], "baseline"))
    low, high = span_of(rows, field, "Low", "High", "Lower limit", "Upper limit")
    places = kept_apart([value for value, _ in labels], (high - low) / 11)
    return layers, [
        {place: last[place], "at": at, "label": f"{word} {shown(value, unit)}"}
        for at, (value, word) in zip(places, labels, strict=True)
    ]


def _also(field: str) -> alt.Y:
    """Return another field on the same axis."""
    return alt.Y(f"{field}:Q", title=None)


def _events(x: alt.X) -> list[Any]:
    """Return an upright line for each declared change, with its words at the top."""
    rule = on("events").mark_rule(color=light("brass"), strokeDash=[1, 2], strokeWidth=1.5).encode(x=x)
    text = on("events").mark_text(align="left", dx=4, fontSize=10, color=light("brass"), limit=150)
    return [rule, text.encode(x=x, y=alt.value(6), text="label:N")]
