"""The kinds of chart: a figure's rows in, an Altair chart out. Nothing is computed that a reader would quote."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt

from pipeline.findings.model import Figure, Measure
from pipeline.findings.months import month_label
from pipeline.findings.wording import shown
from reports.style import light

WIDTHS = {"third": 286, "half": 440, "full": 912}
MOST_ROWS = 1500
SPARK_MONTHS = 24

#: Categories of each kind of chart: column or value, the word for it, its colour.
COVER = (
    ("In limit", "in limit", "calm"),
    ("Over limit", "over limit", "dark"),
    ("Carried over", "carried over", "gold"),
    ("Undocumented", "undocumented", "sand"),
    ("Not assessable", "not assessable", "hollow"),
)
FRESH = (("Carried over", "carried over from another patient", "dark"), ("No record", "no record of a new one", "sand"))
PROOFS = (
    ("No record", "no record", "dark"),
    ("No valid cycle", "no valid cycle", "gold"),
    ("Uncharted use", "uncharted use", "teal"),
    ("Stored too long", "stored too long", "mauve"),
    ("Storage unproven", "storage unproven", "sand"),
    ("Count rose only", "count rose, no record", "hollow"),
)
VERDICTS = (
    ("Count above records", "count above records", "dark"),
    ("Records above count", "records above count", "gold"),
    ("Count went down", "count went down", "teal"),
    ("Likely misread", "likely misread", "hollow"),
)
TURNAROUND = (("Median", "median", "mark"), ("90% by", "nine tenths by", "gold"))
WATER = (("Hung per therapy day", "hung", "mark"), ("Modelled per therapy day", "modelled (estimate)", "gold"))
WARMTH = (("Median warm-up", "median", "mark"), ("90% by", "nine tenths by", "gold"))
PARTS = (("Needed", "needed", "teal"), ("Fitted", "fitted", "mark"), ("Issued", "issued", "gold"))
CURVE = (("Disinfected", "disinfected", "mark"), ("Used again first", "used again first (from the top)", "gold"))
COVERAGE = (
    ("covered by its rows", "covered by its rows", "calm"),
    ("covered, as the rules declare", "covered, as the rules declare", "gold"),
    ("not covered", "not covered", "hollow"),
)

#: The key shown above each kind of chart.
KEYS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "cover_by_month": COVER[1:], "cover_by_ward": COVER, "fresh_counts": FRESH, "proof_counts": PROOFS,
    "count_verdicts": VERDICTS, "turnaround_lines": TURNAROUND, "water_lines": WATER, "warmth_lines": WARMTH,
    "part_lines": PARTS, "curve": CURVE, "coverage": COVERAGE,
}  # fmt: skip

_FORMATS = {"share": ".0%", "hours": ",.0f", "minutes": ",.0f", "ratio": ".2f", "number": ",.0f"}
Rows = list[dict[str, Any]]


def chart_of(figure: Figure, zone: ZoneInfo) -> alt.TopLevelMixin:
    """Return the chart of a figure, in the site's local time."""
    rows = _rows(figure, zone)
    assert len(rows) <= MOST_ROWS, f"{figure.key}: {len(rows)} rows are too many to draw"
    drawn = _BUILDERS[figure.chart](figure, rows)
    width = WIDTHS[figure.size]
    return _configured(drawn.properties(width=width, autosize=alt.AutoSizeParams(type="fit", contains="padding")))


def sparkline(measure: Measure, months: int) -> alt.TopLevelMixin:
    """Return a measure's months as a line of the size of a word, signals as diamonds, the last month as a dot."""
    points = measure.points[-months:]
    rows = [{"x": number, "y": point.value, "signal": bool(point.signal)} for number, point in enumerate(points)]
    x = alt.X("x:Q", axis=None, scale=alt.Scale(domain=[-0.6, len(points) - 0.4], nice=False))
    y = alt.Y("y:Q", axis=None, scale=alt.Scale(zero=False, padding=4))
    base = alt.Chart(alt.InlineData(values=rows)).encode(x=x, y=y)
    layers = [
        base.mark_line(color=light("mark"), strokeWidth=1.25),
        base.mark_point(color=light("mark"), fill=light("mark"), size=14).transform_filter(f"datum.x == {len(points) - 1}"),
    ]
    if points and points[0].centre is not None:
        centre = alt.Chart(alt.InlineData(values=[{"y": points[0].centre}]))
        layers.insert(0, centre.mark_rule(color=light("spread"), strokeWidth=0.75, strokeDash=[2, 2]).encode(y=y))
    if any(row["signal"] for row in rows):
        layers.append(_diamonds(base.transform_filter("datum.signal"), 44))
    return _configured(alt.layer(*layers).properties(width=112, height=26))


def _rows(figure: Figure, zone: ZoneInfo) -> Rows:
    names = [column.name for column in figure.table.columns]
    cells = [[_plain(value, zone) for value in row] for row in figure.table.rows]
    return [dict(zip(names, row, strict=True)) for row in cells]


def _plain(value: Any, zone: ZoneInfo) -> Any:
    if not isinstance(value, datetime):
        return value
    return value.replace(tzinfo=UTC).astimezone(zone).strftime("%Y-%m-%dT%H:%M:%S")


def _configured(chart: Any) -> alt.TopLevelMixin:
    configured: alt.TopLevelMixin = (
        chart.configure(background="transparent", padding=2)
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=light("faint"), labelFontSize=11, titleColor=light("faint"), titleFontSize=11,
            titleFontWeight="normal", gridColor=light("rule"), domainColor=light("rule"), tickColor=light("rule"),
            tickSize=4, labelPadding=4,
        )
        .configure_axisY(domain=False, ticks=False)
        .configure_text(fontSize=11, color=light("faint"))
    )  # fmt: skip
    return configured


def _data(rows: Rows) -> alt.InlineData:
    return alt.InlineData(values=rows)


def _month_axis(rows: Rows, size: str) -> alt.X:
    """Return an axis that names every third month, the last one always."""
    months = list(dict.fromkeys(row["Month"] for row in rows))
    step = 6 if size == "third" and len(months) > 12 else 3
    named = months[::-1][::step]
    labels = {month: month_label(month) for month in months}
    expression = " : ".join(f"datum.value == '{month}' ? '{labels[month]}'" for month in named) + " : ''" if named else "''"
    axis = alt.Axis(labelExpr=expression, values=named, labelAngle=0, grid=False, title=None, labelOverlap=False)
    return alt.X("Month:O", sort=months, axis=axis, scale=alt.Scale(padding=0.3))


def _value_axis(field: str, unit: str, top: float, zero: bool = True, **more: Any) -> alt.Y:
    form = ".1%" if unit == "share" and top < 0.04 else _FORMATS[unit]
    return alt.Y(field, axis=alt.Axis(format=form, title=None, tickCount=4), scale=alt.Scale(zero=zero, nice=True), **more)


def _diamonds(base: Any, size: int) -> Any:
    return base.mark_point(shape="diamond", size=size, fill=light("signal"), stroke=light("paper"), strokeWidth=1, opacity=1)


def _top(rows: Rows, *fields: str) -> float:
    return max((row[field] for row in rows for field in fields if row.get(field) is not None), default=0.0)


def _control(unit: str) -> Callable[[Figure, Rows], alt.LayerChart]:
    def build(figure: Figure, rows: Rows) -> alt.LayerChart:
        top = _top(rows, "Value", "Upper limit")
        x, y = _month_axis(rows, figure.size), _value_axis("Value:Q", unit, top, zero=unit != "ratio")
        base = alt.Chart(_data(rows)).encode(x=x, y=y)
        layers = []
        if _top(rows, "Upper limit"):
            for limit in ("Lower limit", "Upper limit"):
                layers.append(
                    base.mark_line(interpolate="step", color=light("spread"), strokeDash=[3, 3], strokeWidth=1).encode(y=f"{limit}:Q")
                )
        if rows and rows[0].get("Baseline") is not None:
            layers.append(base.mark_line(color=light("spread"), strokeWidth=1).encode(y="Baseline:Q"))
            layers.append(_end_label(rows, x, "Baseline", unit, "baseline"))
        if rows and rows[-1].get("Upper limit") is not None:
            layers.append(_end_label(rows, x, "Upper limit", unit, "limit"))
        if rows and "Low" in rows[0]:
            layers.append(base.mark_rule(color=light("rule"), strokeWidth=5).encode(y="Low:Q", y2="High:Q"))
            layers.insert(0, layers.pop())
        layers.append(base.mark_line(color=light("mark"), strokeWidth=1.25))
        layers.append(base.mark_point(size=20, fill=light("mark"), stroke=light("paper"), strokeWidth=1, opacity=1))
        layers.append(_diamonds(base.transform_filter("datum.Signal != ''"), 90)) if any(row["Signal"] for row in rows) else None
        return alt.layer(*layers).properties(height=190, padding={"left": 2, "right": 62, "top": 6, "bottom": 2})

    return build


def _end_label(rows: Rows, x: alt.X, field: str, unit: str, word: str) -> alt.Chart:
    last = rows[-1]
    label = f"{word} {shown(last[field], unit)}"
    labelled = _data([{"Month": last["Month"], field: last[field], "label": label}])
    return (
        alt.Chart(labelled).mark_text(align="left", dx=8, fontSize=10)
        .encode(x=x, y=f"{field}:Q", text="label:N")
    )  # fmt: skip


def _stack(categories: tuple[tuple[str, str, str], ...], share_of: str = "") -> Callable[[Figure, Rows], alt.Chart]:
    def build(figure: Figure, rows: Rows) -> alt.Chart:
        long = _long(rows, categories, "Month", share_of)
        totals = [sum(item["n"] for item in long if item["Month"] == row["Month"]) for row in rows]
        unit, top = ("share", max(totals, default=0.0)) if share_of else ("number", max(totals, default=0.0))
        y = _value_axis("n:Q", unit, top, stack="zero")
        if not share_of:
            y = alt.Y("n:Q", stack="zero", axis=alt.Axis(format="d", title=None, tickMinStep=1, tickCount=4), scale=alt.Scale(domainMax=max(2, top)))
        elif top < 0.01:
            y = alt.Y("n:Q", stack="zero", axis=alt.Axis(format=".1%", title=None, tickCount=4), scale=alt.Scale(domainMax=0.01))
        return _bars(long, _month_axis(rows, figure.size), y, categories).properties(height=150)

    return build


def _long(rows: Rows, categories: tuple[tuple[str, str, str], ...], name: str, share_of: str) -> Rows:
    """Return a row per name and category; with ``share_of`` its value over that column."""
    return [
        {name: row[name], "kind": word, "place": place, "n": (row[column] or 0) / (row[share_of] or 1) if share_of else row[column] or 0}
        for row in rows
        for place, (column, word, _) in enumerate(categories)
    ]


def _bars(long: Rows, x: alt.X, y: alt.Y, categories: tuple[tuple[str, str, str], ...]) -> alt.Chart:
    words = [word for _, word, _ in categories]
    colours = [light(colour) for *_, colour in categories]
    return (
        alt.Chart(_data(long))
        .mark_bar(stroke=light("faint"), strokeWidth=0.5)
        .encode(x=x, y=y, color=alt.Color("kind:N", scale=alt.Scale(domain=words, range=colours), legend=None), order="place:Q")
        .transform_filter("datum.n > 0")
    )


def _cover_by_ward(figure: Figure, rows: Rows) -> alt.LayerChart:
    long = _long(rows, COVER, "Ward", "Episode hours")
    wards = [row["Ward"] for row in rows]
    y = alt.Y("Ward:N", sort=wards, axis=alt.Axis(title=None, labelLimit=130, labelColor=light("ink")), scale=alt.Scale(paddingInner=0.45))
    x = alt.X("n:Q", stack="zero", axis=alt.Axis(format=".0%", title=None, tickCount=4, grid=False), scale=alt.Scale(domain=[0, 1]))
    words = [word for _, word, _ in COVER]
    colour = alt.Color("kind:N", scale=alt.Scale(domain=words, range=[light(item[2]) for item in COVER]), legend=None)
    bars = alt.Chart(_data(long)).mark_bar(stroke=light("faint"), strokeWidth=0.5).encode(x=x, y=y, color=colour, order="place:Q")
    labels = [{"Ward": row["Ward"], "label": shown(row["Share in limit"], "share")} for row in rows]
    text = alt.Chart(_data(labels)).mark_text(align="left", dx=6).encode(y=y, x=alt.datum(1), text="label:N")
    height = max(60, 30 * len(rows))
    return alt.layer(bars, text).properties(height=height, padding={"left": 2, "right": 44, "top": 4, "bottom": 2})


def _lines(categories: tuple[tuple[str, str, str], ...], unit: str) -> Callable[[Figure, Rows], alt.LayerChart]:
    def build(figure: Figure, rows: Rows) -> alt.LayerChart:
        x = _month_axis(rows, figure.size)
        y = _value_axis("value:Q", unit, _top(rows, *(column for column, *_ in categories)))
        layers = []
        for column, _, colour in categories:
            known = [{"Month": row["Month"], "value": row[column]} for row in rows]
            base = alt.Chart(_data(known)).encode(x=x, y=y)
            layers.append(base.mark_line(color=light(colour), strokeWidth=1.75, strokeDash=[4, 3] if colour == "teal" else [1, 0]))
            layers.append(base.mark_point(fill=light(colour), stroke=light("paper"), size=22, strokeWidth=1, opacity=1))
        layers += [_target(word, value, unit, x, rows) for word, value in figure.lines]
        return alt.layer(*layers).properties(height=170, padding={"left": 2, "right": 60 if figure.lines else 8, "top": 6, "bottom": 2})

    return build


def _target(word: str, value: float, unit: str, x: alt.X, rows: Rows) -> alt.LayerChart:
    data = _data([{"value": value, "Month": rows[-1]["Month"] if rows else "", "label": f"{word} {shown(value, unit)}"}])
    rule = alt.Chart(data).mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(y="value:Q")
    text = alt.Chart(data).mark_text(align="left", dx=8, fontSize=10).encode(y="value:Q", x=x, text="label:N")
    return alt.layer(rule, text)


def _curve(figure: Figure, rows: Rows) -> alt.LayerChart:
    hours, target = "Hours since the stay ended", figure.lines[0][1]
    end = min(_top(rows, hours) or target, 3 * target)
    x = alt.X("hours:Q", axis=alt.Axis(title="hours since the stay ended", grid=False, tickCount=8), scale=alt.Scale(domain=[0, max(end, target * 1.1)], nice=False, clamp=True))
    y = alt.Y("share:Q", axis=alt.Axis(format=".0%", title=None, tickCount=4), scale=alt.Scale(domain=[0, 1]))
    ready = [{"hours": row[hours], "share": row["Disinfected"]} for row in rows if row[hours] <= end]
    again = [{"hours": row[hours], "share": 1 - row["Used again first"], "top": 1} for row in rows if row[hours] <= end]
    layers = [
        alt.Chart(_data(ready)).mark_area(interpolate="step-after", color=light("calm"), opacity=0.25).encode(x=x, y=y),
        alt.Chart(_data(ready)).mark_line(interpolate="step-after", color=light("mark"), strokeWidth=2).encode(x=x, y=y),
        alt.Chart(_data(again)).mark_area(interpolate="step-after", color=light("gold"), opacity=0.35).encode(x=x, y=y, y2="top:Q"),
        alt.Chart(_data(again)).mark_line(interpolate="step-after", color=light("gold"), strokeWidth=1.5).encode(x=x, y=y),
    ]
    goal = _data([{"hours": target, "share": 0.0, "label": f"target {shown(target, 'hours')}"}])
    layers.append(alt.Chart(goal).mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(x=x))
    layers.append(alt.Chart(goal).mark_text(align="right", dx=-5, dy=-8).encode(x=x, y=y, text="label:N"))
    return alt.layer(*layers).properties(height=210)


def _intervals(figure: Figure, rows: Rows) -> alt.LayerChart:
    name = figure.table.columns[0].name
    names, periods = list(dict.fromkeys(row[name] for row in rows)), list(dict.fromkeys(row["Period"] for row in rows))
    places = {period: -5 + 10 * number if len(periods) > 1 else 0 for number, period in enumerate(periods)}
    y = alt.Y(f"{name}:N", sort=names, axis=alt.Axis(title=None, labelLimit=130, labelColor=light("ink")))
    top = _top(rows, "High")
    x = alt.X("Share:Q", axis=alt.Axis(format=".0%", title=None, tickCount=5), scale=alt.Scale(zero=top < 0.6, nice=True, domainMax=min(1, top) or 1))
    layers: list[Any] = [
        alt.Chart(_data([{"value": value}])).mark_rule(color=light("spread"), strokeDash=[3, 3]).encode(x="value:Q")
        for _, value in figure.lines
    ]
    for number, period in enumerate(periods):
        known = [row for row in rows if row["Period"] == period and row["Share"] is not None]
        base = alt.Chart(_data(known)).encode(y=y)
        colour = light("mark" if number == 0 else "spread")
        layers.append(base.mark_rule(color=colour, strokeWidth=2.5 if number == 0 else 1.25, yOffset=places[period]).encode(x=alt.X("Low:Q", axis=x.axis if False else alt.Undefined), x2="High:Q"))
        fill = light("mark") if number == 0 else light("paper")
        layers.append(base.mark_point(size=58 if number == 0 else 34, fill=fill, stroke=colour, opacity=1, yOffset=places[period]).encode(x=x))
    return alt.layer(*layers).properties(height=max(60, 34 * len(names)))


def _chains(figure: Figure, rows: Rows) -> alt.LayerChart:
    stays = [{**row, "row": f"{row['Unit']} · {row['Chain']}", "end": row["Until"] or row["From"], "short": row["Patient key"][:6]} for row in rows]
    names = list(dict.fromkeys(row["row"] for row in stays))
    y = alt.Y("row:N", sort=names, axis=alt.Axis(title=None, labelLimit=150, labelColor=light("ink")))
    x = alt.X("From:T", scale=alt.Scale(type="utc"), axis=alt.Axis(title=None, format="%d %b", tickCount=8, grid=True))
    base = alt.Chart(_data(stays)).encode(y=y)
    bars = base.mark_bar(height=14, color=light("calm"), stroke=light("mark"), strokeWidth=1).encode(x=x, x2="end:T")
    text = base.mark_text(align="left", dx=2, dy=-14, fontSize=10).encode(x=x, text="short:N")
    return alt.layer(bars, text).properties(height=max(70, 40 * len(names)))


def _coverage(figure: Figure, rows: Rows) -> alt.Chart:
    tables = list(dict.fromkeys(row["Records of"] for row in rows))
    y = alt.Y("Records of:N", sort=tables, axis=alt.Axis(title=None, labelLimit=160, labelColor=light("ink")), scale=alt.Scale(paddingInner=0.25))
    states = [state for state, *_ in COVERAGE]
    colour = alt.Color("State:N", scale=alt.Scale(domain=states, range=[light(item[2]) for item in COVERAGE]), legend=None)
    return (
        alt.Chart(_data(rows)).mark_rect(stroke=light("faint"), strokeWidth=0.5)
        .encode(x=_month_axis(rows, figure.size), y=y, color=colour)
        .properties(height=max(60, 19 * len(tables)))
    )  # fmt: skip


def _humidity(figure: Figure, rows: Rows) -> alt.Chart:
    hours = [{"Month": row["Month"], "hours": row["Low humidity in use"]} for row in rows]
    y = alt.Y("hours:Q", axis=alt.Axis(format=",.0f", title=None, tickCount=4), scale=alt.Scale(domainMax=max(2, _top(hours, "hours"))))
    return alt.Chart(_data(hours)).mark_bar(color=light("calm")).encode(x=_month_axis(rows, figure.size), y=y).properties(height=170)


_BUILDERS: dict[str, Callable[[Figure, Rows], Any]] = {
    "cover_by_month": _stack(COVER[1:], share_of="Episode hours"),
    "cover_by_ward": _cover_by_ward,
    "fresh_counts": _stack(FRESH),
    "proof_counts": _stack(PROOFS),
    "count_verdicts": _stack(VERDICTS),
    "turnaround_lines": _lines(TURNAROUND, "hours"),
    "water_lines": _lines(WATER, "number"),
    "warmth_lines": _lines(WARMTH, "minutes"),
    "part_lines": _lines(PARTS, "number"),
    "humidity_hours": _humidity,
    "curve": _curve,
    "intervals": _intervals,
    "chains": _chains,
    "coverage": _coverage,
    **{f"control_{unit}": _control(unit) for unit in _FORMATS},
}
