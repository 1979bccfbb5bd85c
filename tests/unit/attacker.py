"""A reader with a pencil: all that can be told of each number from what a page prints, exactly, by linear bounds.

Written from the page's own words and not from the program. The counts, rests and totals of the wards make a table of
two columns with its sums, so the least and the greatest value of a linear program are those of whole numbers too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from scipy.optimize import linprog

#: What stands in a table for a count and for its total: a number, or words.
Pair = tuple[Any, Any]
Bounds = tuple[float, float]


def told(
    wards: Mapping[str, Pair],
    site: Pair,
    profile: Any,
    asked: Iterable[tuple[str | None, int]],
    later: Pair = ("not shown", "not shown"),
) -> dict[tuple[str | None, int], Bounds]:
    """Return the bounds of the counts (0), rests (1) and totals (2) asked for, by ward; None is the site.

    ``later`` is what another edition prints of the site after late data, which only add.
    """
    places = {name: [place] for place, name in enumerate(wards)} | {None: range(len(wards))}
    size = 2 * len(wards)
    rows = [
        (_pick(size, places[name], column), bounds)
        for name, pair in (*wards.items(), (None, site))
        for column, bounds in enumerate(read(pair, profile))
    ]
    rows += [
        (_pick(size, places[None], column), (0, most))
        for column, (_, most) in enumerate(read(later, profile))
    ]
    return {(name, column): _range(_pick(size, places[name], column), rows) for name, column in asked}


def read(pair: Pair, profile: Any) -> tuple[Bounds, Bounds, Bounds]:
    """Return what the words or numbers of a row say by themselves."""
    count, total = pair
    few, some, any_number = f"1 to {profile.hides}", (profile.hides + 1, math.inf), (0.0, math.inf)
    if count == total == "not shown":
        return any_number, any_number, any_number
    of_total = (1, profile.hides) if total == few else _around(total, profile)
    if count == few:
        return (1, profile.hides), any_number, of_total
    if count == f"all but {few}":
        return some, (1, profile.hides), of_total
    if count == total or count == 0:
        none = (0.0, 0.0)
        return (none, of_total, of_total) if count == 0 else (of_total, none, of_total)
    return _around(count, profile), some, of_total


def _around(number: Any, profile: Any) -> Bounds:
    """A number that is printed stands for those nearest to it; 0 and what is not rounded for themselves."""
    reach = (profile.step - 1) / 2 if number else 0
    return float(number) - reach, float(number) + reach


def _pick(size: int, places: Any, column: int) -> np.ndarray:
    """Return the sum of counts, rests or both of some wards."""
    picked = np.zeros(size)
    for place in places:
        picked[2 * place : 2 * place + 2] = (column != 1, column != 0)
    return picked


def _range(picked: np.ndarray, rows: list[tuple[np.ndarray, Bounds]]) -> Bounds:
    above = [(row, high) for row, (_, high) in rows if high < math.inf] + [
        (-row, -low) for row, (low, _) in rows
    ]
    matrix, limits = np.array([row for row, _ in above]), [limit for _, limit in above]
    ends = []
    for sign in (1, -1):
        found = linprog(sign * picked, A_ub=matrix, b_ub=limits, bounds=(0, None), method="highs")
        assert found.status in (0, 3), found.message
        ends.append(sign * found.fun if found.status == 0 else math.inf)
    return round(ends[0], 6), round(ends[1], 6)
