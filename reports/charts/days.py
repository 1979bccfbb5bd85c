"""Pictures of when: a calendar of days, columns by the hour, and a unit's count of cycles as a staircase."""

from __future__ import annotations

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.months import month_label
from reports.charts.axes import Drawing, Rows, count_axis, name_axis, named_rows, on, room, time_axis, top_of
from reports.style import light

_DAYS = range(1, 32)


def calendar(figure: Figure, rows: Rows) -> Drawing:
    """Return the days of each month as cells, with the number in those that have one."""
    months = named_rows(figure.ground) if figure.ground else []
    cells = [
        {"Label": month_label(str(month["Month"])), "Day": day}
        for month in months
        for day in _DAYS
        if day <= month["Days"]
    ]
    names = [month_label(str(month["Month"])) for month in months]
    axis = alt.Axis(title=None, values=[1, 5, 10, 15, 20, 25, 30], labelAngle=0, grid=False, domain=False)
    x = alt.X("Day:O", axis=axis, scale=alt.Scale(domain=list(_DAYS), padding=0.12))
    y = name_axis("Label", names, padding=0.16)
    filled = [{**row, "Label": month_label(str(row["Month"]))} for row in rows]
    chart = alt.layer(
        on("cells").mark_rect(fill=light("panel"), stroke=light("rule"), strokeWidth=0.5).encode(x=x, y=y),
        on("filled").mark_rect(fill=light("dark")).encode(x=x, y=y),
        on("filled").mark_text(fontSize=9, color=light("paper")).encode(x=x, y=y, text="Past the limit:Q"),
    )
    height = max(60, 17 * len(names))
    return Drawing(chart.properties(height=height, padding=room(4)), {"cells": cells, "filled": filled})


def by_hour(figure: Figure, rows: Rows) -> Drawing:
    """Return a column for each local hour of the day."""
    axis = alt.Axis(
        title="local hour", values=[f"{hour:02d}" for hour in range(0, 24, 3)], labelAngle=0, grid=False
    )
    x = alt.X("Hour:O", axis=axis, scale=alt.Scale(domain=[row["Hour"] for row in rows], padding=0.25))
    columns = on().mark_bar(color=light("calm"), stroke=light("faint"), strokeWidth=0.5)
    return Drawing(columns.encode(x=x, y=count_axis("Bags", top_of(rows, "Bags"))).properties(height=170))


def staircase(figure: Figure, rows: Rows) -> Drawing:
    """Return a unit's own count and that by the records as steps in time."""
    x = time_axis("Read at")
    axis = alt.Axis(title=None, format=",d", tickCount=4)
    layers = [
        on()
        .mark_line(interpolate="step-after", color=light(look), strokeWidth=width, strokeDash=dash)
        .encode(x=x, y=alt.Y(f"{field}:Q", axis=axis, scale=alt.Scale(zero=False, nice=True), title=None))
        for field, look, width, dash in (
            ("By the records", "gold", 1.75, [5, 3]),
            ("Own count", "mark", 1.75, []),
        )
    ]
    return Drawing(alt.layer(*layers).properties(height=150, padding=room(8)))
