"""Names down the side: intervals, chains of stays, and the months that records cover."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import altair as alt

from pipeline.findings.model import Figure
from reports.charts.axes import (
    Drawing,
    Rows,
    layered,
    month_axis,
    name_axis,
    number_format,
    on,
    room,
    span_of,
)
from reports.charts.keys import COVERAGE
from reports.style import light


def intervals(field: str, unit: str) -> Callable[[Figure, Rows], Drawing]:
    """Return a builder of values with their intervals; of several periods the first strong, others faint below it."""

    def build(figure: Figure, rows: Rows) -> Drawing:
        name = figure.table.columns[0].name
        names, periods = (list(dict.fromkeys(row[key] for row in rows)) for key in (name, "Period"))
        y, x = name_axis(name, names), _value_axis(rows, field, unit)
        layers: list[Any] = []
        datasets: dict[str, Rows] = {}
        for place, period in enumerate(periods):
            key, strong = f"period{place}", place == 0
            datasets[key] = [row for row in rows if row["Period"] == period and row[field] is not None]
            below = 10 * place - 5 if len(periods) > 1 else 0
            colour = light("mark" if strong else "spread")
            base = on(key).encode(y=y)
            bars = base.mark_rule(color=colour, strokeWidth=2.5 if strong else 1.25, yOffset=below)
            fill = light("mark" if strong else "paper")
            points = base.mark_point(
                size=58 if strong else 34, fill=fill, stroke=colour, opacity=1, yOffset=below
            )
            layers += [bars.encode(x=alt.X("Low:Q", title=None), x2="High:Q"), points.encode(x=x)]
        height = max(60, (34 if figure.size != "third" else 24) * len(names))
        return Drawing(layered(*layers).properties(height=height, padding=room(14)), datasets)

    return build


def _value_axis(rows: Rows, field: str, unit: str) -> alt.X:
    low, high = span_of(rows, field, "Low", "High")
    high = high or 1.0
    start = low if unit == "share" and low >= 0.5 else 0.0
    axis = alt.Axis(format=number_format(unit, high - start), title=None, tickCount=5)
    return alt.X(f"{field}:Q", axis=axis, scale=alt.Scale(domain=[start, high], nice=True))


def chains(figure: Figure, rows: Rows) -> Drawing:
    """Return the stays of each chain as bars in time, tied by a line that stands for no valid disinfection."""
    stays = [
        {
            **row,
            "lane": f"{row['Unit']} ({row['Chain']})",
            "end": row["Until"] or row["From"],
            "short": f"{row['Patient key'][:6]}…",
        }
        for row in rows
    ]
    names = list(dict.fromkeys(stay["lane"] for stay in stays))
    ties = [
        {"lane": name, "From": min(stay["From"] for stay in own), "end": max(stay["end"] for stay in own)}
        for name in names
        for own in [[stay for stay in stays if stay["lane"] == name]]
    ]
    y = name_axis("lane", names)
    x = alt.X(
        "From:T",
        scale=alt.Scale(type="utc", nice="day"),
        axis=alt.Axis(title=None, format="%-d %b", tickCount=8),
    )
    base = on("stays").encode(y=y)
    chart = layered(
        on("ties")
        .mark_rule(color=light("mark"), strokeDash=[2, 3], strokeWidth=1.5)
        .encode(y=y, x=x, x2="end:T"),
        base.mark_bar(height=13, color=light("calm"), stroke=light("mark"), strokeWidth=1).encode(
            x=x, x2="end:T"
        ),
        base.mark_text(align="left", dx=1, dy=-13, fontSize=10).encode(x=x, text="short:N"),
    )
    return Drawing(
        chart.properties(height=max(70, 40 * len(names)), padding=room(40)), {"stays": stays, "ties": ties}
    )


def coverage(figure: Figure, rows: Rows) -> Drawing:
    """Return the months that each kind of record covers."""
    scale = alt.Scale(domain=[key.column for key in COVERAGE], range=[light(key.look) for key in COVERAGE])
    names = list(dict.fromkeys(row["Records of"] for row in rows))
    chart = on().mark_rect(stroke=light("faint"), strokeWidth=0.5).encode(
        x=month_axis(rows, figure.size), y=name_axis("Records of", names, paddingInner=0.25),
        color=alt.Color("State:N", scale=scale, legend=None),
    )  # fmt: skip
    return Drawing(chart.properties(height=max(60, 19 * len(names))))
