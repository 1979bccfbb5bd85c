"""Pictures of when: a calendar of days, columns by the hour, and a unit's count of cycles as a staircase."""

from __future__ import annotations

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.months import month_label
from reports.charts.axes import (
    Drawing,
    Rows,
    count_axis,
    layered,
    name_axis,
    named_rows,
    on,
    room,
    time_axis,
    top_of,
)
from reports.style import light


def calendar(figure: Figure, rows: Rows) -> Drawing:
    """Return a line of days for each month, the days that have a number as cells with it."""
    months = named_rows(figure.ground) if figure.ground else []
    lines = [
        {"Label": month_label(str(month["Month"])), "from": 0.5, "to": month["Days"] + 0.5}
        for month in months
        if month["Days"]
    ]
    cells = [
        {"Label": month_label(str(row["Month"])), "from": row["Day"] - 0.45, "to": row["Day"] + 0.45} | row
        for row in rows
    ]
    axis = alt.Axis(title=None, values=[1, 5, 10, 15, 20, 25, 30], format="d", grid=False, domain=False)
    days = alt.Scale(domain=[0.5, 31.5], nice=False, zero=False)
    x = alt.X("from:Q", axis=axis, scale=days)
    y = name_axis("Label", [month_label(str(month["Month"])) for month in months], padding=0.16)
    chart = layered(
        on("lines")
        .mark_bar(fill=light("panel"), stroke=light("rule"), strokeWidth=0.5)
        .encode(x=x, x2="to:Q", y=y),
        on("cells").mark_bar(fill=light("dark")).encode(x=x, x2="to:Q", y=y),
        on("cells")
        .mark_text(fontSize=9, color=light("paper"))
        .encode(x="Day:Q", y=y, text="Past the limit:Q"),
    )
    height = max(60, 17 * len(months))
    return Drawing(chart.properties(height=height, padding=room(4)), {"lines": lines, "cells": cells})


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
    return Drawing(layered(*layers).properties(height=150, padding=room(8)))
