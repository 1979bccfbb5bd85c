"""Charts as inline SVG: rendered without a browser, slimmed, and coloured by the page's own variables."""

from __future__ import annotations

import os
import re
import time
from typing import Any

from reports.style import COLOURS

#: The version of Vega-Lite that draws; pinned, for another one draws other bytes.
VL_VERSION = "6.4"

_VARIABLES = {values[0]: f"var(--{name})" for name, values in COLOURS.items()}
_NUMBER = re.compile(r"-?\d+\.\d{3,}")
#: What SVG takes for granted, and marks that show nothing.
_IDLE = re.compile(
    r' (?:opacity|stroke-width|stroke-opacity|fill-opacity)="1"| transform="translate\(0,0\)"| [xy]2="0"(?= )'
    r'|<path d="M0,0h0v0h0Z"/>|<path d="" display="none"/>'
)
#: A round mark as the path that Vega makes of it.
_DOT = re.compile(
    r'<path transform="translate\(([^,]+),([^)]+)\)" d="M([\d.]+),0A\3,\3,0,1,1,-\3,0A\3,\3,0,1,1,\3,0"'
)
_DROPPED = re.compile(
    r' (?:aria-[a-z]+|role|class|font-family|xmlns(?::xlink)?|version|stroke-miterlimit|pointer-events)="[^"]*"'
)


def render(spec: dict[str, Any], prefix: str) -> str:
    """Return a Vega-Lite specification as one SVG element; ``prefix`` keeps its ids apart from other charts'."""
    # Vega reads times without an offset as local ones: the drawing must not depend on where it is made.
    os.environ["TZ"] = "UTC"
    time.tzset()
    import vl_convert

    drawn = vl_convert.vegalite_to_svg(spec, vl_version=VL_VERSION)
    return themed(slim(drawn, prefix))


def slim(svg: str, prefix: str) -> str:
    """Drop what a page does not need: long decimals, classes, roles, fonts, and what is so without being said.

    >>> slim('<path class="a" d="M1.23456,2" opacity="1"/>', "p")
    '<path d="M1.23,2"/>'
    """
    shorter = _NUMBER.sub(lambda found: f"{float(found[0]):.2f}".rstrip("0").rstrip("."), svg)
    shorter = _DROPPED.sub("", shorter)
    shorter = _IDLE.sub("", shorter)
    shorter = _DOT.sub(r'<circle cx="\1" cy="\2" r="\3"', shorter)
    shorter = re.sub(r"<g>(<g/>)*</g>|<path d=\"M0,0[^\"]*\" ?(?:fill=\"none\")?/>(?=</g>$)", "", shorter)
    return re.sub(r'(id="|url\(#)(clip\d+)', rf"\g<1>{prefix}-\g<2>", shorter)


def themed(svg: str) -> str:
    """Replace each colour by its variable, so that one drawing serves light, dark and print.

    >>> themed('<g fill="#1c2a30"/>')
    '<g fill="var(--ink)"/>'
    """
    return re.sub(r"#[0-9a-f]{6}", lambda found: _VARIABLES.get(found[0], found[0]), svg)
