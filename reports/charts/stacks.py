"""Stacked columns and bars: what was not in limit, and counts of what the records show."""

from __future__ import annotations

from collections.abc import Callable

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.wording import shown
from reports.charts.axes import (
    ROW,
    Drawing,
    Rows,
    count_axis,
    layered,
    month_axis,
    name_axis,
    number_format,
    on,
    room,
    top_of,
)
from reports.charts.keys import Key
from reports.style import light

#: A share axis never ends below this: the least slip would fill the chart.
_LEAST_TOP = 0.01


def stacked_counts(keys: tuple[Key, ...]) -> Callable[[Figure, Rows], Drawing]:
    """Return a builder of columns by month, one stack of whole numbers each."""

    def build(figure: Figure, rows: Rows) -> Drawing:
        pieces = _pieces(rows, keys, "Month")
        chart = _marks(keys).encode(
            x=month_axis(rows, figure.size), y=count_axis("n", _highest(pieces, "Month"))
        )
        return Drawing(chart.properties(height=150), {"pieces": pieces})

    return build


def stacked_shares(keys: tuple[Key, ...], of: str) -> Callable[[Figure, Rows], Drawing]:
    """Return a builder of columns by month, each piece a share of the column ``of``."""

    def build(figure: Figure, rows: Rows) -> Drawing:
        pieces = _pieces(rows, keys, "Month", of)
        top = max(_LEAST_TOP, _highest(pieces, "Month"))
        axis = alt.Axis(format=number_format("share", top), title=None, tickCount=4)
        y = alt.Y("n:Q", stack="zero", axis=axis, scale=alt.Scale(domain=[0, top], nice=True))
        return Drawing(
            _marks(keys).encode(x=month_axis(rows, figure.size), y=y).properties(height=150),
            {"pieces": pieces},
        )

    return build


def bars_by_name(keys: tuple[Key, ...], of: str, told: str, whole: bool) -> Callable[[Figure, Rows], Drawing]:
    """Return a builder of bars, one per name; ``told`` is the share written at its end."""

    def build(figure: Figure, rows: Rows) -> Drawing:
        name = figure.table.columns[0].name
        pieces = _pieces(rows, keys, name, of)
        top = 1.0 if whole else max(_LEAST_TOP, _highest(pieces, name))
        y = name_axis(name, [row[name] for row in rows], paddingInner=0.4)
        axis = alt.Axis(format=number_format("share", top), title=None, tickCount=4, grid=False)
        x = alt.X("n:Q", stack="zero", axis=axis, scale=alt.Scale(domain=[0, top], nice=not whole))
        sums = _sums(pieces, name)
        labels = [
            {name: row[name], "n": sums.get(row[name], 0), "label": f"{shown(row[told], 'share')} in limit"}
            for row in rows
        ]
        text = on("labels").mark_text(align="left", dx=6).encode(y=y, x=x, text="label:N")
        chart = layered(_marks(keys).encode(x=x, y=y), text)
        return Drawing(
            chart.properties(height=max(60, 28 * len(rows)), padding=room(86)),
            {"pieces": pieces, "labels": labels},
        )

    return build


def single_columns(column: str) -> Callable[[Figure, Rows], Drawing]:
    """Return a builder of one plain column per month."""

    def build(figure: Figure, rows: Rows) -> Drawing:
        top = max(2, top_of(rows, column))
        y = alt.Y(
            f"{column}:Q",
            axis=alt.Axis(format=",.0f", title=None, tickCount=4),
            scale=alt.Scale(domain=[0, top], nice=True),
        )
        chart = on().mark_bar(color=light("calm")).encode(x=month_axis(rows, figure.size), y=y)
        return Drawing(chart.properties(height=170))

    return build


def _pieces(rows: Rows, keys: tuple[Key, ...], name: str, of: str = "") -> Rows:
    """Return a row per name and key, those that are 0 left out; with ``of`` its share of that column."""
    pieces = [
        {
            name: row[name],
            ROW: row[ROW],
            "kind": key.word,
            "place": place,
            "n": (row[key.column] or 0) / ((row[of] or 1) if of else 1),
        }
        for row in rows
        for place, key in enumerate(keys)
    ]
    return [piece for piece in pieces if piece["n"] > 0]


def _sums(pieces: Rows, name: str) -> dict[str, float]:
    sums: dict[str, float] = {}
    for piece in pieces:
        sums[piece[name]] = sums.get(piece[name], 0) + piece["n"]
    return sums


def _highest(pieces: Rows, name: str) -> float:
    return max(_sums(pieces, name).values(), default=0)


def _marks(keys: tuple[Key, ...]) -> alt.Chart:
    scale = alt.Scale(domain=[key.word for key in keys], range=[light(key.look) for key in keys])
    marks = on("pieces").mark_bar(stroke=light("faint"), strokeWidth=0.5)
    return marks.encode(color=alt.Color("kind:N", scale=scale, legend=None), order="place:Q")
