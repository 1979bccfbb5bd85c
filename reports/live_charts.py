"""Charts that a browser draws anew: compiled specifications as compact data, what they share said once."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from typing import Any

from reports.charts.axes import ROW
from reports.svg import variable

#: The key of a reference to a shared part; the browser puts the part in its place.
REFERENCE = "$"

#: A part shorter than this is no longer than the reference to it.
_SHORTEST = 24

#: Digits that no eye sees on a chart of a thousand pixels are not sent.
_DIGITS = 5

_NEEDLESS = frozenset({"$schema", "data"})


def packed(charts: Mapping[str, dict[str, Any]]) -> str:
    """Return compiled charts by the ids of their figures as JSON."""
    slimmed = {name: _slim(chart) for name, chart in charts.items()}
    seen = _seen(list(slimmed.values()))
    shared: dict[str, int] = {}
    parts: list[Any] = []

    def pack(part: Any) -> Any:
        if not isinstance(part, dict | list):
            return part
        text = _json(part)
        if len(text) < _SHORTEST or seen[text] == 1:
            return _each(part, pack)
        if text not in shared:
            inside = _each(part, pack)
            shared[text] = len(parts)
            parts.append(inside)
        return {REFERENCE: shared[text]}

    drawn = {name: pack(chart) for name, chart in slimmed.items()}
    return _json({"parts": parts, "charts": drawn})


def _seen(charts: list[Any]) -> Counter[str]:
    """Count every list and object, as text; what lies in one that was met before is not met again."""
    seen: Counter[str] = Counter()
    waiting = [charts]
    while waiting:
        part = waiting.pop()
        if isinstance(part, dict | list):
            seen[text := _json(part)] += 1
            if seen[text] == 1:
                waiting += part.values() if isinstance(part, dict) else part
    return seen


def _each(part: Any, change: Any) -> Any:
    """Return an object or a list with each thing in it changed."""
    if isinstance(part, dict):
        return {key: change(value) for key, value in part.items()}
    return [change(value) for value in part]


def _slim(chart: dict[str, Any]) -> dict[str, Any]:
    """Return a chart with its rows as lists of cells, without columns that it never names."""
    named = _json({key: value for key, value in chart.items() if key != "data"})
    named += _json([{key: value for key, value in item.items() if key != "values"} for item in chart["data"]])
    whole = {key: _themed(value) for key, value in chart.items() if key not in _NEEDLESS}
    return whole | {"data": [_columns(item, named) for item in chart["data"]]}


def _themed(part: Any) -> Any:
    """Return a part with each colour replaced by its variable."""
    return _each(part, _themed) if isinstance(part, dict | list) else variable(part)


def _columns(item: dict[str, Any], named: str) -> dict[str, Any]:
    if "values" not in item:
        return item
    rows = item["values"]
    names = [
        name for name in dict.fromkeys(key for row in rows for key in row) if name == ROW or name in named
    ]
    cells = [[_rounded(row.get(name)) for name in names] for row in rows]
    return {**item, "values": {"names": names, "rows": cells}}


def _rounded(cell: Any) -> Any:
    return float(f"{cell:.{_DIGITS}g}") if isinstance(cell, float) else cell


def _json(part: Any) -> str:
    return json.dumps(part, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
