"""The plan in pictures: need to come as a fan, stock by week, money by month, and shortage by the size of the fleet."""

from __future__ import annotations

from typing import Any

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.wording import shown
from reports.charts.axes import (
    Drawing,
    Rows,
    dots,
    layered,
    month_axis,
    number_format,
    on,
    room,
    time_axis,
    top_of,
)
from reports.style import light

_HEIGHT = 170


def fan(figure: Figure, rows: Rows) -> Drawing:
    """Return the need of past months as a line, and of those to come as a band with the expected in it."""
    x = month_axis(rows, figure.size)
    ahead = on().transform_filter("isValid(datum.High)").encode(x=x)
    past = (
        on()
        .transform_filter("isValid(datum.Needed)")
        .encode(x=x, y=_numbers("Needed", rows, "Needed", "High"))
    )
    expected = ahead.mark_line(color=light("mark"), strokeDash=[4, 3], strokeWidth=1.75).encode(
        y="Expected:Q"
    )
    chart = layered(
        ahead.mark_area(color=light("band")).encode(y="Low:Q", y2="High:Q"),
        past.mark_line(color=light("mark"), strokeWidth=1.75),
        expected,
        dots(past, "mark", 22),
    )
    return Drawing(chart.properties(height=_HEIGHT, padding=room(8)))


def stock(figure: Figure, rows: Rows) -> Drawing:
    """Return the pieces in store by week, what may be left later, and the level at which to order."""
    x = time_axis("Day")
    base = on().encode(x=x)
    pieces = _numbers("Pieces", rows, "Pieces", "High", "Order at")
    layers = [
        base.mark_area(color=light("band"))
        .transform_filter("isValid(datum.High)")
        .encode(y="Low:Q", y2="High:Q"),
        base.mark_line(color=light("mark"), strokeWidth=1.75).encode(y=pieces),
    ]
    labels = [
        {"Day": row["Day"], "at": row["Order at"], "label": f"order at {shown(row['Order at'], 'count')}"}
        for row in rows[-1:]
        if row["Order at"] is not None
    ]
    if labels:
        level = on("labels").encode(y="at:Q")
        layers += [
            level.mark_rule(color=light("spread"), strokeDash=[3, 3]),
            level.mark_text(align="right", dy=-7, fontSize=10).encode(x=x, text="label:N"),
        ]
    return Drawing(layered(*layers).properties(height=_HEIGHT, padding=room(8)), {"labels": labels})


def budget(figure: Figure, rows: Rows) -> Drawing:
    """Return the money of each month to come as a column, with its amount above."""
    x, y = month_axis(rows, figure.size), _numbers("Cost", rows, "Cost")
    columns = on().mark_bar(color=light("calm")).encode(x=x, y=y)
    amounts = on().mark_text(dy=-6, fontSize=9).encode(x=x, y=y, text=alt.Text("Cost:Q", format=",.0f"))
    return Drawing(layered(columns, amounts).properties(height=_HEIGHT, padding=room(8)))


def shortage(figure: Figure, rows: Rows) -> Drawing:
    """Return the share of arrivals that find no unit by the number of units, and how many are in service."""
    top = top_of(rows, "Observed", "At the target")
    axis = alt.Axis(title="units in service", format="d", grid=False, tickCount=8)
    x = alt.X("Units:Q", axis=axis, scale=alt.Scale(zero=False, nice=False))
    shares = alt.Axis(format=number_format("share", top), title=None, tickCount=4)
    curves = [
        on()
        .mark_line(color=light(look), strokeWidth=1.75, strokeDash=dash)
        .encode(x=x, y=alt.Y(f"{name}:Q", axis=shares, scale=alt.Scale(zero=True, nice=True), title=None))
        for name, look, dash in (("Observed", "mark", []), ("At the target", "gold", [5, 3]))
    ]
    last = rows[-1]
    goals = [{"Units": last["Units"], "at": value, "label": word} for word, value in figure.lines]
    now = [{"Units": row["Units"], "at": top, "label": f"{row['Units']} now"} for row in rows if row["Fleet"]]
    marks: list[Any] = [
        on("goals").mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(y="at:Q"),
        on("goals").mark_text(align="right", dy=-6, fontSize=10).encode(x=x, y="at:Q", text="label:N"),
        on("now").mark_rule(color=light("brass"), strokeDash=[1, 2], strokeWidth=1.5).encode(x=x),
        on("now")
        .mark_text(align="right", dx=-4, dy=6, fontSize=10, color=light("brass"))
        .encode(x=x, y="at:Q", text="label:N"),
    ]
    chart = layered(*curves, *marks).properties(height=_HEIGHT, padding=room(8))
    return Drawing(chart, {"goals": goals, "now": now})


def _numbers(field: str, rows: Rows, *seen: str) -> alt.Y:
    axis = alt.Axis(format=number_format("count", top_of(rows, *seen)), title=None, tickCount=4)
    return alt.Y(f"{field}:Q", axis=axis, scale=alt.Scale(zero=True, nice=True), title=None)
