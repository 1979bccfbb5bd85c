"""Charts that compare: funnels of wards, ratios before and after, units of a pool."""

from __future__ import annotations

import math
from typing import Any

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.wording import shown
from reports.charts.axes import (
    ROW,
    Drawing,
    Rows,
    dots,
    layered,
    name_axis,
    named_rows,
    number_format,
    on,
    room,
    span_of,
    top_of,
)
from reports.style import light

#: More wards or units than these are named only where they stand apart.
_MOST_NAMED_WARDS, _MOST_NAMED_UNITS = 12, 60

_LIMITS = {
    "95% from": "inner_low",
    "95% to": "inner_high",
    "99.8% from": "outer_low",
    "99.8% to": "outer_high",
}


def funnel(figure: Figure, rows: Rows) -> Drawing:
    """Return each ward's share by its number of cases, the limits as lines, and a ring for the share drawn in."""
    wards = [
        {
            "of": row["Of"], "share": row["Share"], "drawn": row["Drawn in"], ROW: row[ROW],
            "name": row["Ward"] if row["Outside 99.8%"] or len(rows) <= _MOST_NAMED_WARDS else "",
        }
        for row in rows
    ]  # fmt: skip
    apart = [ward for ward, row in zip(wards, rows, strict=True) if row["Outside 99.8%"]]
    ground = named_rows(figure.ground) if figure.ground else []
    limits = [{"of": row["Of"], **{new: row[old] for old, new in _LIMITS.items()}} for row in ground]
    shares = [ward["share"] for ward in wards] + [row["outer_high"] for row in limits[len(limits) // 4 :]]
    low, high = min([*shares, *(row["outer_low"] for row in limits)]), max(shares)
    x = alt.X(
        "of:Q", axis=alt.Axis(title="cases", grid=False, tickCount=5), scale=alt.Scale(zero=False, nice=False)
    )
    axis = alt.Axis(format=number_format("share", high - low), title=None, tickCount=4)
    scale = alt.Scale(domain=[low, high], nice=True, clamp=True)

    def y(field: str) -> alt.Y:
        return alt.Y(f"{field}:Q", axis=axis, scale=scale)

    line = on("limits").mark_line(color=light("spread"), strokeWidth=1)
    dashed = on("limits").mark_line(color=light("spread"), strokeWidth=1, strokeDash=[3, 3])
    base = on("wards").encode(x=x)
    layers: list[Any] = [
        *(line.encode(x=x, y=y(name)) for name in ("outer_low", "outer_high")),
        *(dashed.encode(x=x, y=y(name)) for name in ("inner_low", "inner_high")),
        on("site").mark_rule(color=light("spread"), strokeWidth=1).encode(y=y("share")),
        base.mark_rule(color=light("mark"), strokeWidth=1).encode(y=y("share"), y2="drawn:Q"),
        base.mark_point(size=46, fill=light("paper"), stroke=light("mark"), opacity=1).encode(y=y("drawn")),
        dots(base.encode(y=y("share")), "mark", 60),
    ]
    if apart:
        square = on("apart").mark_point(
            shape="square", size=110, fill=light("dark"), stroke=light("paper"), opacity=1
        )
        layers.append(square.encode(x=x, y=y("share")))
    text = base.mark_text(align="left", dx=8, fontSize=10, color=light("ink"), limit=110)
    layers.append(text.encode(y=y("share"), text="name:N"))
    chart = layered(*layers).properties(height=180, padding=room(8))
    site = [{"share": value} for _, value in figure.lines]
    return Drawing(chart, {"limits": limits, "wards": wards, "apart": apart, "site": site})


def ratios(figure: Figure, rows: Rows) -> Drawing:
    """Return ratios with their limits on a logarithmic axis; one too thin to give has its words alone."""
    seen = [row[name] for row in rows for name in ("Low", "High", "Ratio") if row[name]]
    widest = max([2.0, *(max(value, 1 / value) for value in seen)])
    told = [
        {
            "name": row["Compared"], ROW: row[ROW], "low": row["Low"] or 1 / widest, "high": row["High"] or widest,
            "ratio": row["Ratio"] or 1.0, "known": row["Low"] is not None, "given": row["Ratio"] is not None,
            "label": "too thin" if row["Low"] is None else shown(row["Ratio"], "ratio"),
        }
        for row in rows
    ]  # fmt: skip
    power = math.ceil(math.log2(widest))
    axis = alt.Axis(title=None, values=[2.0**step for step in range(-power, power + 1)], format="~g")
    scale = alt.Scale(type="log", domain=[2.0**-power, 2.0**power], clamp=True)

    def x(field: str) -> alt.X:
        return alt.X(f"{field}:Q", scale=scale, axis=axis)

    base = on("ratios").encode(y=name_axis("name", [row["name"] for row in told], limit=460))
    bars = base.transform_filter("datum.known").mark_rule(color=light("mark"), strokeWidth=2)
    chart = layered(
        on("same").mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(x=x("at")),
        bars.encode(x=x("low"), x2="high:Q"),
        dots(base.transform_filter("datum.given").encode(x=x("ratio")), "mark", 60),
        base.mark_text(align="left", dx=8, dy=-9, fontSize=10).encode(x=x("ratio"), text="label:N"),
    )
    same = [{"at": value} for _, value in figure.lines]
    return Drawing(
        chart.properties(height=max(60, 28 * len(told)), padding=room(20)), {"ratios": told, "same": same}
    )


def pool(figure: Figure, rows: Rows) -> Drawing:
    """Return a value for each unit of a pool in the order of names, those that stand apart as named squares."""
    unit = figure.chart.partition("_")[2]
    names = [row["Unit"] for row in rows]
    labels = len(names) <= _MOST_NAMED_UNITS
    axis = alt.Axis(
        title=None, labels=labels, ticks=False, labelAngle=-90, labelLimit=70, grid=False, labelFontSize=9
    )
    x = alt.X("Unit:N", axis=axis, scale=alt.Scale(domain=names, padding=0.5))
    values = [value for _, value in figure.lines]
    low, high = span_of(rows, "Value")
    domain = [min([low, *values]) * 0.95, max([high, *values]) * 1.05]
    y = alt.Y(
        "Value:Q",
        axis=alt.Axis(title=None, tickCount=4, format=number_format(unit, top_of(rows, "Value"))),
        scale=alt.Scale(domain=domain, zero=False, nice=True, clamp=True),
    )
    base = on().encode(x=x, y=y)
    apart = base.transform_filter("datum['Stands apart'] != ''")
    layers: list[Any] = [on("lines").mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(y="at:Q")]
    if unit == "ratio":
        layers.append(
            on()
            .mark_rule(color=light("band"), strokeWidth=3)
            .encode(x=x, y=alt.Y("Low:Q", title=None), y2="High:Q")
        )
    layers.append(dots(base, "mark", 34))
    if any(row["Stands apart"] for row in rows):
        square = apart.mark_point(
            shape="square", size=90, fill=light("dark"), stroke=light("paper"), opacity=1
        )
        layers += [
            square,
            apart.mark_text(dy=-11, fontWeight=600, fontSize=10, color=light("ink")).encode(text="Unit:N"),
        ]
    lines = [{"at": value} for value in values]
    return Drawing(layered(*layers).properties(height=150, padding=room(8)), {"lines": lines})
