"""Small multiples: the same months of every ward, on one scale."""

from __future__ import annotations

import altair as alt

from pipeline.findings.model import Figure
from pipeline.findings.months import month_label
from reports.charts.axes import Drawing, Rows, number_format
from reports.charts.keys import NOT_IN_LIMIT
from reports.style import light

_COLUMNS = 4
_WIDTH, _HEIGHT = 186, 56


def ward_months(figure: Figure, rows: Rows) -> Drawing:
    """Return a panel for each ward in the order of the alphabet: what was not in limit, of its hours, by month."""
    wards, months = (list(dict.fromkeys(row[name] for row in rows)) for name in ("Ward", "Month"))
    pieces = [
        {
            "Ward": row["Ward"],
            "Month": row["Month"],
            "kind": key.word,
            "place": place,
            "n": hours / row["Episode hours"],
        }
        for row in rows
        for place, key in enumerate(NOT_IN_LIMIT)
        if (hours := row[key.column]) or place == 0  # so that each ward has a panel
    ]
    ends = [months[0], months[-1]]
    words = " : ".join(f"datum.value == '{month}' ? '{month_label(month)}'" for month in ends)
    bounds = alt.Axis(
        values=ends, labelExpr=f"{words} : ''", labelAngle=0, title=None, grid=False, labelFontSize=9
    )
    x = alt.X("Month:O", axis=bounds, scale=alt.Scale(domain=months, padding=0.25))
    top = max((sum(piece["n"] for piece in pieces if (piece["Ward"], piece["Month"]) == pair)
               for pair in {(piece["Ward"], piece["Month"]) for piece in pieces}), default=0.01)  # fmt: skip
    axis = alt.Axis(format=number_format("share", top), title=None, tickCount=2, labelFontSize=9)
    y = alt.Y("n:Q", stack="zero", axis=axis, scale=alt.Scale(domain=[0, top], nice=True))
    scale = alt.Scale(
        domain=[key.word for key in NOT_IN_LIMIT], range=[light(key.look) for key in NOT_IN_LIMIT]
    )
    panel = (
        alt.Chart()
        .mark_bar(stroke=light("faint"), strokeWidth=0.4)
        .encode(x=x, y=y, color=alt.Color("kind:N", scale=scale, legend=None), order="place:Q")
    )
    header = alt.Header(
        title=None, labelAnchor="start", labelFontSize=11, labelColor=light("ink"), labelPadding=2
    )
    facet = alt.Facet("Ward:N", header=header, sort=wards)
    return Drawing(
        panel.properties(width=_WIDTH, height=_HEIGHT).facet(facet, columns=_COLUMNS, data=alt.NamedData("pieces"))
        .properties(spacing=14),
        {"pieces": pieces},
    )  # fmt: skip
