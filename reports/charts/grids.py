"""Names down the side: intervals, chains of stays, and the months that records cover."""

from __future__ import annotations

from typing import Any

import altair as alt

from pipeline.findings.model import Figure
from reports.charts.axes import Drawing, Rows, month_axis, name_axis, number_format, on, room, top_of
from reports.charts.keys import COVERAGE
from reports.style import light


def intervals(figure: Figure, rows: Rows) -> Drawing:
    """Return shares with their intervals; the month strong, the months pooled beside it faint below it."""
    name = figure.table.columns[0].name
    names, periods = (list(dict.fromkeys(row[key] for row in rows)) for key in (name, "Period"))
    y, x = name_axis(name, names), _share_axis(rows)
    layers: list[Any] = [
        on("targets").mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(x="Share:Q")
    ]
    datasets: dict[str, Rows] = {"targets": [{"Share": value} for _, value in figure.lines]}
    for place, period in enumerate(periods):
        key, strong = f"period{place}", place == 0
        datasets[key] = [row for row in rows if row["Period"] == period and row["Share"] is not None]
        below = 10 * place - 5 if len(periods) > 1 else 0
        colour = light("mark" if strong else "spread")
        base = on(key).encode(y=y)
        layers.append(
            base.mark_rule(color=colour, strokeWidth=2.5 if strong else 1.25, yOffset=below).encode(
                x="Low:Q", x2="High:Q"
            )
        )
        fill = light("mark" if strong else "paper")
        layers.append(
            base.mark_point(
                size=58 if strong else 34, fill=fill, stroke=colour, opacity=1, yOffset=below
            ).encode(x=x)
        )
    return Drawing(alt.layer(*layers).properties(height=max(60, 34 * len(names)), padding=room(14)), datasets)


def _share_axis(rows: Rows) -> alt.X:
    high = top_of(rows, "High") or 1.0
    low = min((row["Low"] for row in rows if row["Low"] is not None), default=0.0)
    axis = alt.Axis(format=number_format("share", high - low), title=None, tickCount=5)
    return alt.X("Share:Q", axis=axis, scale=alt.Scale(domain=[0.0 if low < 0.5 else low, high], nice=True))


def chains(figure: Figure, rows: Rows) -> Drawing:
    """Return the stays of each chain as bars in time, tied by a line that stands for no valid disinfection."""
    stays = [
        {
            **row,
            "row": f"{row['Unit']} ({row['Chain']})",
            "end": row["Until"] or row["From"],
            "short": f"{row['Patient key'][:6]}…",
        }
        for row in rows
    ]
    names = list(dict.fromkeys(stay["row"] for stay in stays))
    ties = [
        {"row": name, "From": min(stay["From"] for stay in own), "end": max(stay["end"] for stay in own)}
        for name in names
        for own in [[stay for stay in stays if stay["row"] == name]]
    ]
    y = name_axis("row", names)
    x = alt.X(
        "From:T",
        scale=alt.Scale(type="utc", nice="day"),
        axis=alt.Axis(title=None, format="%-d %b", tickCount=8),
    )
    base = on("stays").encode(y=y)
    chart = alt.layer(
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
