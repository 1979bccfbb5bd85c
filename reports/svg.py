"""Drawings as inline SVG: slimmed, and coloured by the page's own variables."""

from __future__ import annotations

import re

from reports.style import COLOURS

_COLOUR = re.compile(r"#[0-9a-f]{6}")
_VARIABLES = {values[0]: f"var(--{name})" for name, values in COLOURS.items()}
#: What is drawn; the words between are names and numbers that stay as they are.
_TAG = re.compile(r"<[^>]*>")
_NUMBER = re.compile(r"-?\d+\.\d{2,}")
#: What SVG takes for granted, and marks that show nothing.
_IDLE = re.compile(
    r' (?:opacity|stroke-width|stroke-opacity|fill-opacity)="1"| transform="translate\(0,0\)"| [xy]2="0"(?= )'
    r'|<path d="M0,0h0v0h0Z"/>|<path d="" display="none"/>'
)
#: A round mark as the path that Vega makes of it.
_DOT = re.compile(
    r'<path transform="translate\(([^,]+),([^)]+)\)" d="M([\d.]+),0A\3,\3,0,1,1,-\3,0A\3,\3,0,1,1,\3,0"'
)
#: A group of nothing but marks, the start of each, and those of its attributes that a group hands down.
_MARKS = re.compile(r"<g>((?:<(?:line|path|circle)[^>]*/>|<text[^>]*>[^<]*</text>)+)</g>")
_START = re.compile(r"<(?:line|path|circle|text)[^>]*>")
_LOOK = re.compile(
    r' (?:fill|stroke|stroke-width|stroke-dasharray|font-size|font-weight|text-anchor)="[^"]*"'
)
#: A group of lines that look alike, and one of them.
_LINES = re.compile(r'<g( [^>]*)?>((?:<line(?: (?:transform|x2|y2)="[^"]*")*/>)+)</g>')
_LINE = re.compile(r'<line(?: transform="translate\(([^)]+)\)")?(?: x2="([^"]+)")?(?: y2="([^"]+)")?/>')
#: A mark that is only there to be pointed at.
_UNSEEN = re.compile(r'<circle [^>]*opacity="0"[^>]*/>')
_DROPPED = re.compile(
    r' (?:aria-[a-z]+|role|class|font-family|xmlns(?::xlink)?|version|stroke-miterlimit|pointer-events)="[^"]*"'
)


def on_page(svg: str, prefix: str) -> str:
    """Return a drawing as one element of a page; ``prefix`` keeps its ids apart from other charts'."""
    return themed(slim(svg, prefix))


def on_paper(svg: str, family: str) -> str:
    """Return a drawing as it stands on its own: light colours, its text in one family of fonts."""
    return re.sub(r'font-family="[^"]*"', f'font-family="{family}"', svg)


def slim(svg: str, prefix: str) -> str:
    """Drop what a page does not need: long decimals, classes, roles, fonts, and what is so without being said.

    >>> slim('<path class="a" d="M1.23456,2" opacity="1"/>', "p")
    '<path d="M1.2,2"/>'
    >>> slim('<g><line y2="4" stroke="red"/><line transform="translate(9,0)" x2="1" y2="4" stroke="red"/></g>', "p")
    '<path stroke="red" d="M0,0l0,4M9,0l1,4"/>'
    """
    shorter = _TAG.sub(lambda tag: _NUMBER.sub(_rounded, _DROPPED.sub("", tag[0])), svg)
    shorter = _IDLE.sub("", shorter)
    shorter = _DOT.sub(r'<circle cx="\1" cy="\2" r="\3"', shorter)
    shorter = _UNSEEN.sub("", shorter)
    shorter = re.sub(r"<g>(<g/>)*</g>|<path d=\"M0,0[^\"]*\" ?(?:fill=\"none\")?/>(?=</g>$)", "", shorter)
    shorter = _LINES.sub(_as_path, _MARKS.sub(_hoisted, shorter))
    return re.sub(r'(id="|url\(#)(clip\d+)', rf"\g<1>{prefix}-\g<2>", shorter)


def _rounded(number: re.Match[str]) -> str:
    return f"{float(number[0]):.1f}".rstrip("0").rstrip(".")


def _hoisted(group: re.Match[str]) -> str:
    """Return a group of marks with what they all inherit alike said once, on the group."""
    marks = _START.findall(group[1])
    alike = set(_LOOK.findall(marks[0])).intersection(*(_LOOK.findall(mark) for mark in marks))
    if len(marks) == 1 or not alike:
        return group[0]
    common = [look for look in _LOOK.findall(marks[0]) if look in alike]
    bare = _START.sub(
        lambda mark: _LOOK.sub(lambda look: "" if look[0] in alike else look[0], mark[0]), group[1]
    )
    return f"<g{''.join(common)}>{bare}</g>"


def _as_path(group: re.Match[str]) -> str:
    """Return a group of lines as one path: the steps of an axis or the whiskers of a chart are one thing to draw."""
    steps = (f"M{line[1] or '0,0'}l{line[2] or 0},{line[3] or 0}" for line in _LINE.finditer(group[2]))
    return f'<path{group[1] or ""} d="{"".join(steps)}"/>'


def themed(svg: str) -> str:
    """Replace each colour by its variable, so that one drawing serves light, dark and print.

    >>> themed('<g fill="#1c2a30"/>')
    '<g fill="var(--ink)"/>'
    """
    return _TAG.sub(lambda tag: _COLOUR.sub(lambda found: variable(found[0]), tag[0]), svg)


def variable(colour: str) -> str:
    """Return the variable that stands for a colour, and any other text as it is."""
    return _VARIABLES.get(colour, colour)
