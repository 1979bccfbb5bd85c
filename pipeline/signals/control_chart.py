"""The published table of control charts (contract section 5), and the charts behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.signals.charts import Chart, TooThin, monthly_chart, why_thin
from pipeline.signals.gaps import gap_charts
from pipeline.signals.series import Series, site_series
from pipeline.signals.trials import SiteCases
from pipeline.site_rules import SiteRules

if TYPE_CHECKING:
    from pipeline.measures.published import Published

_RARE = "unprotected_changeovers"

#: Columns of the table. ``period`` is a month, or the instant of the event that ends a gap.
COLUMNS = {
    "site_id": pl.String,
    "ward": pl.String,
    "measure": pl.String,
    "period": pl.String,
    "value": pl.Float64,
    "centre": pl.Float64,
    "lower": pl.Float64,
    "upper": pl.Float64,
    "signal": pl.String,
    "chart": pl.String,
}


@dataclass(frozen=True)
class SiteCharts:
    """A site's charts by measure and ward, and those that the data do not suffice for."""

    drawn: tuple[Chart, ...]
    too_thin: tuple[TooThin, ...]


def site_charts(published: Published, site_id: str, wanted: Sequence[Series]) -> SiteCharts:
    """Return every control chart of a site and its wards, made from its series, as of the run's instant."""
    cases, rules = SiteCases(published, site_id), published.sites[site_id]
    found = [chart for series in wanted for chart in _charts(series, cases, rules)]
    return SiteCharts(
        drawn=tuple(chart for chart in found if isinstance(chart, Chart)),
        too_thin=tuple(chart for chart in found if isinstance(chart, TooThin)),
    )


def _charts(series: Series, cases: SiteCases, rules: SiteRules) -> list[Chart] | list[TooThin]:
    """Return the charts of a series: by month, or between cases where those are rare, or why there are none."""
    rare = series.base == _RARE
    monthly = None if rare else monthly_chart(series, rules)
    if isinstance(monthly, Chart):
        return [monthly]
    gaps = cases.gaps(series)
    if gaps is None:
        return [TooThin(series.site_id, series.ward, series.measure, why_thin(series, None))]
    drawn = gap_charts(("g", "t") if rare else ("g",), series, gaps, rules)
    return drawn or [TooThin(series.site_id, series.ward, series.measure, why_thin(series, len(gaps)))]


def control_chart(published: Published) -> pl.DataFrame:
    """Return the points of every chart of every site; a period that cannot be assessed has no row."""
    rows = [
        (chart.site_id, chart.ward, chart.measure, point.period, point.value, point.centre, point.lower,
         point.upper, point.signal or None, point.chart)
        for site_id in sorted(published.sites)
        for chart in site_charts(published, site_id, site_series(published, site_id)).drawn
        for point in chart.points
        if point.value is not None
    ]  # fmt: skip
    frame = pl.DataFrame(rows, schema=COLUMNS, orient="row")
    return frame.sort("site_id", "ward", "measure", "chart", "period")
