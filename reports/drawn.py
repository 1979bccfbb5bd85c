"""A chart, compiled and drawn once: the page, its live charts and the board pack are made from the same one."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from typing import Any

from reports import svg
from reports.board_pack_text import FAMILY

#: The version of Vega-Lite that compiles; pinned, for another one draws other bytes.
VL_VERSION = "6.4"

#: A specification in Vega.
Vega = dict[str, Any]


@dataclass(frozen=True)
class Order:
    """A chart to draw: its specification in Vega-Lite, what its ids begin with, and its width if it goes on paper."""

    spec: dict[str, Any]
    prefix: str
    paper_width: int | None


@dataclass(frozen=True)
class Drawn:
    """A chart as Vega, as SVG in the page, and as SVG on paper; that is empty for a chart which does not go there."""

    vega: Vega
    on_page: str
    on_paper: str


def draw(order: Order) -> Drawn:
    """Return the chart that was ordered."""
    import vl_convert

    vega = compiled(order.spec)
    on_page, on_paper = svg.on_page(vl_convert.vega_to_svg(vega), order.prefix), ""
    if order.paper_width is not None:
        narrower = at_width(vega, order.paper_width)
        on_paper = svg.on_paper(vl_convert.vega_to_svg(narrower), FAMILY)
    return Drawn(vega, on_page, on_paper)


def compiled(spec: dict[str, Any]) -> Vega:
    """Return a Vega-Lite specification as one of Vega."""
    # Vega reads times without an offset as local ones: the drawing must not depend on where it is made.
    os.environ["TZ"] = "UTC"
    time.tzset()
    import vl_convert

    found: Vega = vl_convert.vegalite_to_vega(spec, vl_version=VL_VERSION)
    return found


def at_width(vega: Vega, width: int) -> Vega:
    """Return a chart that fits another width; panels side by side keep the widths of their own."""
    return {**vega, "width": width} if "width" in vega else vega
