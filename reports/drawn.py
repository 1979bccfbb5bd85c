"""A chart drawn: its specification in, and out come the same chart for a browser to draw anew and its drawing."""

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
    """A chart to draw: its specification in Vega-Lite, and what its ids begin with in a page; None for paper."""

    spec: dict[str, Any]
    prefix: str | None


@dataclass(frozen=True)
class Drawn:
    """A chart as Vega, and as SVG: of the page's own colours, or as it stands on its own on paper."""

    vega: Vega
    svg: str


def draw(order: Order) -> Drawn:
    """Return the chart that was ordered."""
    import vl_convert

    vega = compiled(order.spec)
    drawing = vl_convert.vega_to_svg(vega)
    if order.prefix is None:
        return Drawn(vega, svg.on_paper(drawing, FAMILY))
    return Drawn(vega, svg.on_page(drawing, order.prefix))


def compiled(spec: dict[str, Any]) -> Vega:
    """Return a Vega-Lite specification as one of Vega."""
    # Vega reads times without an offset as local ones: the drawing must not depend on where it is made.
    os.environ["TZ"] = "UTC"
    time.tzset()
    import vl_convert

    found: Vega = vl_convert.vegalite_to_vega(spec, vl_version=VL_VERSION)
    return found
