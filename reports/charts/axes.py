"""What the charts share: their axes, marks and the look of them all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import altair as alt

from pipeline.findings.model import Table
from pipeline.findings.months import month_label
from reports.style import light

Rows = list[dict[str, Any]]

#: Pixels that a letter of a name takes, on the wide side.
_LETTER = 8

#: The figure's own rows, under this name in every chart.
ROWS = "rows"

#: The field that says which row of the figure's table a mark stands for, counted from 0.
ROW = "row"


@dataclass(frozen=True)
class Drawing:
    """A chart and the rows of the data sets that it names beside its figure's own."""

    chart: Any
    datasets: dict[str, Rows] = field(default_factory=dict)


@dataclass(frozen=True)
class Layers:
    """Charts drawn on one another, with the size and space of the whole.

    Altair's own layers copy every chart several times over, which took longer than drawing them.
    """

    charts: tuple[Any, ...]
    whole: Mapping[str, Any] = field(default_factory=dict)

    def properties(self, **more: Any) -> Layers:
        """Return the same charts with more said of the whole."""
        return Layers(self.charts, {**self.whole, **more})

    def to_dict(self, *, validate: bool) -> dict[str, Any]:
        """Return the specification; ``validate`` holds each chart against the grammar."""
        inside = [chart.to_dict(validate=validate, context={"top_level": False}) for chart in self.charts]
        return {"layer": inside, **self.whole}


def layered(*charts: Any) -> Layers:
    """Return charts drawn on one another, the first at the bottom."""
    return Layers(charts)


CONFIG: dict[str, Any] = {
    "background": "transparent",
    "aria": False,
    "view": {"stroke": None},
    "axis": {
        "labelColor": light("faint"), "labelFontSize": 11, "titleColor": light("faint"), "titleFontSize": 11,
        "titleFontWeight": "normal", "gridColor": light("rule"), "domainColor": light("rule"),
        "tickColor": light("rule"), "tickSize": 4, "labelPadding": 4,
    },
    "axisY": {"domain": False, "ticks": False},
    "text": {"fontSize": 11, "color": light("faint")},
}  # fmt: skip

_FORMATS = {"share": ".0%", "ratio": ".2f"}


def on(name: str = ROWS) -> alt.Chart:
    """Return a chart of a data set by its name: rows inside a chart are copied at each step."""
    return alt.Chart(alt.NamedData(name))


def month_axis(rows: Rows, size: str) -> alt.X:
    """Return an axis of every month that names some of them, the last one always."""
    months = list(dict.fromkeys(row["Month"] for row in rows))
    step = 6 if size == "third" and len(months) > 12 else 3
    named = months[::-1][::step]
    cases = [f"datum.value == '{month}' ? '{month_label(month)}' : " for month in named]
    axis = alt.Axis(
        labelExpr="".join(cases) + "''",
        values=named,
        labelAngle=0,
        grid=False,
        title=None,
        labelOverlap=False,
    )
    return alt.X("Month:O", axis=axis, scale=alt.Scale(domain=months, padding=0.3))


def time_axis(field: str) -> alt.X:
    """Return an axis of local time."""
    axis = alt.Axis(title=None, format="%b %y", tickCount=6, grid=False)
    return alt.X(f"{field}:T", axis=axis, scale=alt.Scale(type="utc"))


def number_format(unit: str, top: float) -> str:
    """Return the format of an axis that spans so much: more places where that is little."""
    if unit == "share" and top < 0.04:
        return ".2%" if top < 0.004 else ".1%"
    return _FORMATS.get(unit, ",.0f")


def named_rows(table: Table) -> Rows:
    """Return a table's rows by the names of its columns."""
    names = [column.name for column in table.columns]
    return [dict(zip(names, row, strict=True)) for row in table.rows]


def name_axis(field: str, names: list[str], limit: int = 150, **scale: Any) -> alt.Y:
    """Return an axis of names in the order given, cut at a width of so many pixels."""
    # A limit has every name measured several times over, and most wards have names that keep to it.
    limit = limit if max(map(len, names), default=0) * _LETTER > limit else 0
    axis = alt.Axis(title=None, labelLimit=limit, labelColor=light("ink"), offset=6)
    return alt.Y(f"{field}:N", axis=axis, scale=alt.Scale(domain=names, **scale))


def count_axis(field: str, top: float) -> alt.Y:
    """Return an axis of whole numbers."""
    step = max(1, -(-int(top) // 4))
    values = list(range(0, max(2, int(top)) + step, step))
    return alt.Y(
        f"{field}:Q",
        stack="zero",
        axis=alt.Axis(format=",.0f", title=None, values=values),
        scale=alt.Scale(domain=[0, values[-1]]),
    )


def top_of(rows: Rows, *fields: str) -> float:
    """Return the largest value of these fields, 0 without any."""
    return max((row[field] for row in rows for field in fields if row.get(field) is not None), default=0.0)


def span_of(rows: Rows, *fields: str) -> tuple[float, float]:
    """Return the least and the largest value of these fields, 0 and 0 without any."""
    seen = [row[field] for row in rows for field in fields if row.get(field) is not None]
    return min(seen, default=0.0), max(seen, default=0.0)


def kept_apart(values: list[float], least: float) -> list[float]:
    """Return places for labels, in the order given: near their values and at least that far apart.

    >>> kept_apart([1.0, 1.1, 5.0], 0.5)
    [1.0, 1.5, 5.0]
    """
    places = dict.fromkeys(range(len(values)), 0.0)
    below = -float("inf")
    for number in sorted(places, key=lambda number: values[number]):
        places[number] = below = max(values[number], below + least)
    return list(places.values())


def diamonds(base: Any, size: int = 90) -> Any:
    """Return a layer of signals: another shape, not only another colour."""
    return base.mark_point(
        shape="diamond", size=size, fill=light("signal"), stroke=light("paper"), strokeWidth=1, opacity=1
    )


def dots(base: Any, colour: str, size: int = 20) -> Any:
    """Return a layer of ordinary points."""
    return base.mark_point(size=size, fill=light(colour), stroke=light("paper"), strokeWidth=1, opacity=1)


def room(right: int, **more: int) -> dict[str, int]:
    """Return the space around a chart, so that labels beyond its right end are not cut off."""
    return {"left": 4, "right": right, "top": 6, "bottom": 2, **more}
