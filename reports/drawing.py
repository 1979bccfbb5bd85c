"""Small pictures as inline SVG, drawn by hand: rectangles and ticks on a time axis, coloured by the page's names."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from markupsafe import Markup, escape

#: Left of the time axis stands the name of a lane.
LABEL = 118
WIDTH = 1080
_TICKS = 8


def picture(body: Iterable[str], height: float) -> Markup:
    """Return a picture of the full width."""
    return Markup(  # noqa: S704 every text in it has gone through `escape`
        f'<svg viewBox="0 0 {WIDTH} {height:g}" width="{WIDTH}" height="{height:g}" font-size="11.5"'
        f' fill="var(--ink)">{HATCH}{"".join(body)}</svg>'
    )


def bar(left: float, top: float, width: float, height: float, look: str, title: str) -> str:
    """Return a rectangle in one of `LOOKS`, at least a hair wide, with what it is for whoever points at it."""
    box = f'x="{left:.1f}" y="{top:g}" width="{max(width, 1):.1f}" height="{height:g}"'
    return f"<rect {box} {LOOKS[look]}><title>{escape(title)}</title></rect>"


def diamond(x: float, y: float) -> str:
    """Return the mark of what needs to be looked at."""
    return f'<path d="M{x:.1f} {y - 5:g}l5 5-5 5-5-5z" fill="var(--signal)" stroke="var(--paper)"/>'


def words(x: float, y: float, text: str, look: str = "") -> str:
    """Return a text."""
    return f'<text x="{x:.1f}" y="{y:g}"{f" {look}" if look else ""}>{escape(text)}</text>'


def line(x: float, top: float, bottom: float) -> str:
    """Return a faint upright line."""
    return f'<path d="M{x:.1f} {top:g}V{bottom:g}" stroke="var(--rule)"/>'


def place(moment: datetime, begins: datetime, ends: datetime) -> float:
    """Return where an instant lies on the axis."""
    return LABEL + (WIDTH - LABEL - 1) * ((moment - begins) / (ends - begins))


def axis(begins: datetime, ends: datetime, zone: ZoneInfo, top: float, bottom: float) -> list[str]:
    """Return an axis with a handful of local days, or hours where it spans few days."""
    step = (ends - begins) / _TICKS
    form = "%d %b %Y" if step > timedelta(days=1) else "%d %b %H:%M"
    drawn = []
    for number in range(_TICKS):
        moment = begins + number * step
        x = place(moment, begins, ends)
        local = moment.replace(tzinfo=UTC).astimezone(zone)
        drawn += [line(x, top, bottom), words(x + 3, top + 10, local.strftime(form), 'fill="var(--faint)"')]
    return drawn


#: How a bar looks. Height and pattern tell as much as the colour does.
LOOKS = {
    "asked": 'fill="var(--dark)"',
    "linked": 'fill="var(--signal)"',
    "open": 'fill="url(#hatch)" stroke="var(--signal)" stroke-dasharray="4 3"',
    "other": 'fill="var(--calm)"',
    "valid": 'fill="var(--teal)"',
    "not_valid": 'fill="none" stroke="var(--gold)" stroke-width="1.6" stroke-dasharray="2 2"',
    "thin": 'fill="var(--spread)"',
    "wait": 'fill="var(--gold)"',
    "out": 'fill="var(--sand)"',
    "gap": 'fill="url(#hatch)"',
    "nothing": 'fill="none" stroke="var(--rule)"',
}
#: The pattern that `LOOKS` name; once on a page that draws by them.
HATCH = (
    '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<path d="M0 6L6 0" stroke="var(--faint)" stroke-width="1"/></pattern></defs>'
)
