"""A measure's months as a line of the size of a word."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.findings.model import Point

MONTHS = 24
_WIDTH, _HEIGHT, _EDGE = 118, 26, 5


def sparkline(points: Sequence[Point]) -> str:
    """Return the latest months as SVG, a diamond for each signal; empty where there is nothing to draw."""
    shown = points[-MONTHS:]
    centre = next((point.centre for point in shown if point.centre is not None), None)
    values = [value for value in (*(point.value for point in shown), centre) if value is not None]
    if not values:
        return ""
    low, high = min(values), max(values)
    step = (_WIDTH - 2 * _EDGE) / max(1, len(shown) - 1)

    def place(number: int, value: float) -> tuple[str, str]:
        share = (value - low) / (high - low) if high > low else 0.5
        return f"{_EDGE + number * step:.1f}", f"{_HEIGHT - _EDGE - share * (_HEIGHT - 2 * _EDGE):.1f}"

    placed = [
        (point, place(number, point.value)) for number, point in enumerate(shown) if point.value is not None
    ]
    stretches = "".join(_stretch(part) for part in _unbroken(shown, place))
    baseline = (
        "" if centre is None else f'<path class="base" d="M{_EDGE},{place(0, centre)[1]}H{_WIDTH - _EDGE}"/>'
    )
    marks = "".join(_mark(point, at, point is shown[-1]) for point, at in placed)
    size = f'viewBox="0 0 {_WIDTH} {_HEIGHT}" width="{_WIDTH}" height="{_HEIGHT}"'
    return f'<svg {size} aria-hidden="true">{baseline}{stretches}{marks}</svg>'


def _unbroken(shown: Sequence[Point], place: object) -> list[list[tuple[str, str]]]:
    """Return the stretches of months that have a value: a line over a gap would invent one."""
    stretches: list[list[tuple[str, str]]] = [[]]
    for number, point in enumerate(shown):
        if point.value is None:
            stretches.append([])
        else:
            stretches[-1].append(place(number, point.value))  # type: ignore[operator]
    return [stretch for stretch in stretches if stretch]


def _stretch(places: list[tuple[str, str]]) -> str:
    return f'<path class="line" d="M{"L".join(",".join(at) for at in places)}"/>'


def _mark(point: Point, at: tuple[str, str], is_last: bool) -> str:
    if point.signal:
        return f'<path class="signal" d="M{at[0]},{at[1]}m0,-3.6l3.6,3.6l-3.6,3.6l-3.6,-3.6z"/>'
    return f'<circle class="last" cx="{at[0]}" cy="{at[1]}" r="2.4"/>' if is_last else ""
