"""A site's charts compiled once: the page, its live charts and the board pack are all drawn from the same ones."""

from __future__ import annotations

import os
import time
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.findings.model import SiteFindings
from reports.charts import spec_of

#: The version of Vega-Lite that compiles; pinned, for another one draws other bytes.
VL_VERSION = "6.4"

#: A specification in Vega.
Vega = dict[str, Any]


def compiled_charts(findings: SiteFindings) -> dict[str, Vega]:
    """Return the compiled chart of each figure that has rows, by the figure's key."""
    zone = ZoneInfo(findings.time_zone)
    figures = (figure for section in findings.sections for figure in section.figures)
    return {figure.key: compiled(spec_of(figure, zone)) for figure in figures if figure.table.rows}


def compiled(spec: dict[str, Any]) -> Vega:
    """Return a Vega-Lite specification as one of Vega."""
    # Vega reads times without an offset as local ones: the drawing must not depend on where it is made.
    os.environ["TZ"] = "UTC"
    time.tzset()
    import vl_convert

    found: Vega = vl_convert.vegalite_to_vega(spec, vl_version=VL_VERSION)
    return found


def at_width(chart: Vega, width: int) -> Vega:
    """Return a chart that fits another width; panels side by side keep the widths of their own."""
    return {**chart, "width": width} if "width" in chart else chart
