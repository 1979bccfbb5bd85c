"""The kinds of chart: a figure's rows in, a Vega-Lite specification out. Nothing is computed that a reader quotes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt

from pipeline.findings.model import Figure
from reports.charts import keys
from reports.charts.axes import CONFIG, ROW, ROWS, Drawing, Rows, named_rows
from reports.charts.compared import funnel, pool, ratios
from reports.charts.control import control, gaps
from reports.charts.days import by_hour, calendar, staircase
from reports.charts.grids import chains, coverage, intervals
from reports.charts.lines import curve, lines
from reports.charts.plans import budget, fan, shortage, stock
from reports.charts.stacks import bars_by_name, single_columns, stacked_counts, stacked_shares
from reports.charts.wards import ward_months

__all__ = ["MOST_ROWS", "spec_of"]

WIDTHS = {"third": 286, "half": 440, "full": 912}

#: A chart of more rows could not be read, and would be slow to draw.
MOST_ROWS = 1500

_EPISODES, _SHARE = "Episode hours", "Share in limit"
_CHARTED_UNITS = ("share", "millilitres", "hours", "minutes", "ratio", "number")
_BUILDERS: dict[str, Callable[[Figure, Rows], Drawing]] = {
    "cover_now": bars_by_name(keys.COVER, _EPISODES, _SHARE, whole=True),
    "cover_by_month": stacked_shares(keys.NOT_IN_LIMIT, _EPISODES),
    "cover_by_ward": bars_by_name(keys.NOT_IN_LIMIT, _EPISODES, _SHARE, whole=False),
    "fresh_counts": stacked_counts(keys.FRESH),
    "proof_counts": stacked_counts(keys.PROOFS),
    "count_verdicts": stacked_counts(keys.VERDICTS),
    "turnaround_lines": lines(keys.TURNAROUND, "hours"),
    "water_lines": lines(keys.WATER, "number"),
    "warmth_lines": lines(keys.WARMTH, "minutes"),
    "part_lines": lines(keys.PARTS, "number"),
    "humidity_hours": single_columns("Low humidity in use"),
    "therapy_days": single_columns("Therapy days"),
    "therapy_rate": single_columns("Per 1,000"),
    "curve": curve,
    "intervals": intervals("Share", "share"),
    "intervals_hours": intervals("Median", "hours"),
    "funnel": funnel,
    "ratios": ratios,
    "chains": chains,
    "calendar": calendar,
    "by_hour": by_hour,
    "staircase": staircase,
    "ward_months": ward_months,
    "fan": fan,
    "stock": stock,
    "budget": budget,
    "shortage": shortage,
    "coverage": coverage,
    **{f"{kind}_{unit}": control for kind in ("control", "raised") for unit in _CHARTED_UNITS},
    **{f"gaps_{unit}": gaps for unit in ("count", "days")},
    **{f"pool_{unit}": pool for unit in ("ratio", "minutes")},
}


def spec_of(figure: Figure, zone: ZoneInfo, *, checked: bool = False) -> dict[str, Any]:
    """Return the specification of a figure's chart, in the site's local time; ``checked`` against its grammar."""
    rows = _rows(figure, zone)
    number = len(rows) + (len(figure.ground.rows) if figure.ground else 0)
    if number > MOST_ROWS:
        raise ValueError(f"{figure.key}: {number} rows are too many to draw.")
    # Every chart's grammar is checked by a test; at each drawing that would take as long as the drawing.
    with alt.utils.schemapi.debug_mode(checked):
        drawing = _BUILDERS[figure.chart](figure, rows)
        drawn = _fitted(drawing.chart, figure.size).to_dict(validate=checked)
    return {**drawn, "config": CONFIG, "datasets": {ROWS: rows, **drawing.datasets}}


def _fitted(chart: Any, size: str) -> Any:
    """Return a chart at the width of its place; panels side by side have widths of their own."""
    if isinstance(chart, alt.FacetChart):
        return chart
    return chart.properties(width=WIDTHS[size], autosize={"type": "fit", "contains": "padding"})


def _rows(figure: Figure, zone: ZoneInfo) -> Rows:
    return [
        {name: _local(cell, zone) for name, cell in row.items()} | {ROW: number}
        for number, row in enumerate(named_rows(figure.table))
    ]


def _local(cell: Any, zone: ZoneInfo) -> Any:
    if not isinstance(cell, datetime):
        return cell
    return cell.replace(tzinfo=UTC).astimezone(zone).strftime("%Y-%m-%dT%H:%M:%S")
