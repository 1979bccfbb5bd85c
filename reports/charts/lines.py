"""Lines over months, and the curve of how soon units are disinfected."""

from __future__ import annotations

from collections.abc import Callable

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.wording import shown
from reports.charts.axes import (
    ROW,
    Drawing,
    Rows,
    dots,
    kept_apart,
    layered,
    month_axis,
    number_format,
    on,
    room,
    top_of,
)
from reports.charts.keys import Key
from reports.style import light

#: The colours that a label may have, those of the lines and of a target.
_LOOKS = ["mark", "gold", "teal", "spread"]
_HOURS = "Hours since the stay ended"


def lines(keys: tuple[Key, ...], unit: str) -> Callable[[Figure, Rows], Drawing]:
    """Return a builder of one line per key over the months, named at its end, with a dashed line for each target."""

    def build(figure: Figure, rows: Rows) -> Drawing:
        x = month_axis(rows, figure.size)
        top = top_of(rows, *(key.column for key in keys))
        axis = alt.Axis(format=number_format(unit, top), title=None, tickCount=4)
        layers = []
        for key in keys:
            y = alt.Y(f"{key.column}:Q", axis=axis, scale=alt.Scale(zero=True, nice=True), title=None)
            base = on().encode(x=x, y=y)
            layers += [base.mark_line(color=light(key.look), strokeWidth=1.75), dots(base, key.look, 22)]
        labels = _labels(figure, rows, keys, unit, top)
        layers.append(on("targets").mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(y="value:Q"))
        looks = alt.Color(
            "look:N", scale=alt.Scale(domain=_LOOKS, range=[light(look) for look in _LOOKS]), legend=None
        )
        text = on("labels").mark_text(align="left", dx=8, fontWeight=600)
        layers.append(text.encode(x=x, y="place:Q", text="label:N", color=looks))
        chart = layered(*layers).properties(height=170, padding=room(8))
        return Drawing(chart, {"targets": [{"value": value} for _, value in figure.lines], "labels": labels})

    return build


def _labels(figure: Figure, rows: Rows, keys: tuple[Key, ...], unit: str, top: float) -> Rows:
    """Return the words at the right end of the lines, kept from covering each other."""
    last = rows[-1] if rows else {}
    ends = [(key.word, key.look, last[key.column]) for key in keys if last.get(key.column) is not None]
    ends += [(f"{word} {shown(value, unit)}", "spread", value) for word, value in figure.lines]
    places = kept_apart([value for *_, value in ends], max(top, 1e-9) / 9)
    return [
        {"Month": last.get("Month"), "label": word, "look": look, "place": place}
        for (word, look, _), place in zip(ends, places, strict=True)
    ]


def curve(figure: Figure, rows: Rows) -> Drawing:
    """Return the share disinfected from below, and that used again first from above, to 1.5 targets."""
    target = figure.lines[0][1]
    end = max(min(top_of(rows, _HOURS), 1.5 * target), 1.1 * target)
    seen = [row for row in rows if row[_HOURS] <= end]
    steps = [
        {
            "hours": row[_HOURS],
            "ready": row["Disinfected"],
            "again": 1 - row["Used again first"],
            "top": 1,
            ROW: row[ROW],
        }
        for row in (*seen, *([{**seen[-1], _HOURS: end}] if seen and len(seen) < len(rows) else []))
    ]
    axis = alt.Axis(title="hours since the stay ended", grid=False, tickCount=8)
    x = alt.X("hours:Q", axis=axis, scale=alt.Scale(domain=[0, end], nice=False))
    y = alt.Axis(format=".0%", title=None, tickCount=4)
    share = alt.Scale(domain=[0, 1])
    ready = on("steps").encode(x=x, y=alt.Y("ready:Q", axis=y, scale=share))
    again = on("steps").encode(x=x, y=alt.Y("again:Q", axis=y, scale=share))
    goal = [{"hours": target, "ready": 0.0, "label": f"target {shown(target, 'hours')}"}]
    chart = layered(
        ready.mark_area(interpolate="step-after", color=light("calm"), opacity=0.25),
        again.mark_area(interpolate="step-after", color=light("gold"), opacity=0.3).encode(y2="top:Q"),
        ready.mark_line(interpolate="step-after", color=light("mark"), strokeWidth=2),
        again.mark_line(interpolate="step-after", color=light("gold"), strokeWidth=1.5),
        again.mark_point(opacity=0, size=60),
        on("goal").mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(x=x),
        on("goal").mark_text(align="left", dx=6, dy=-10).encode(x=x, y="ready:Q", text="label:N"),
    )
    return Drawing(chart.properties(height=200, padding=room(30)), {"steps": steps, "goal": goal})
