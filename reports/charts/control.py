"""Control charts: months with their intervals, the baseline, its limits, and signals as diamonds."""

from __future__ import annotations

from typing import Any

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.wording import shown
from reports.charts.axes import Drawing, Rows, diamonds, dots, month_axis, number_format, on, room, top_of
from reports.style import light


def control(figure: Figure, rows: Rows) -> Drawing:
    """Return the control chart; the unit is the second half of the kind of chart."""
    unit = figure.chart.removeprefix("control_")
    axis = alt.Axis(format=number_format(unit, top_of(rows, "Value", "Upper limit")), title=None, tickCount=4)
    y = alt.Y("Value:Q", axis=axis, scale=alt.Scale(zero=unit != "ratio", nice=True))
    x = month_axis(rows, figure.size)
    base = on().encode(x=x, y=y)
    layers, labels = _limits(base, rows, unit)
    if rows and "Low" in rows[0]:
        layers.insert(0, base.mark_rule(color=light("band"), strokeWidth=5).encode(y="Low:Q", y2="High:Q"))
    layers += [base.mark_line(color=light("mark"), strokeWidth=1.25), dots(base, "mark")]
    if any(row["Signal"] for row in rows):
        layers.append(diamonds(base.transform_filter("datum.Signal != ''")))
    if labels:
        layers.append(
            on("labels").mark_text(align="left", dx=8, fontSize=10).encode(x=x, y="Value:Q", text="label:N")
        )
    chart = alt.layer(*layers).properties(height=190, padding=room(66 if labels else 8))
    return Drawing(chart, {"labels": labels})


def _limits(base: Any, rows: Rows, unit: str) -> tuple[list[Any], Rows]:
    """Return the lines of the baseline and its limits, and their labels at the last month."""
    layers, labels = [], []
    last = rows[-1] if rows else {}
    if last.get("Upper limit") is not None:
        dashed = base.mark_line(interpolate="step", color=light("spread"), strokeDash=[3, 3], strokeWidth=1)
        layers += [dashed.encode(y="Lower limit:Q"), dashed.encode(y="Upper limit:Q")]
        labels.append(_label(last, "Upper limit", "limit", unit))
    if last.get("Baseline") is not None:
        layers.append(base.mark_line(color=light("spread"), strokeWidth=1).encode(y="Baseline:Q"))
        labels.append(_label(last, "Baseline", "baseline", unit))
    return layers, labels


def _label(row: dict[str, Any], field: str, word: str, unit: str) -> dict[str, Any]:
    return {"Month": row["Month"], "Value": row[field], "label": f"{word} {shown(row[field], unit)}"}
