"""Units whose own count of cycles left the records this month: the count as it was read, and as the records make it."""

from __future__ import annotations

from datetime import timedelta
from itertools import accumulate

import polars as pl

from pipeline.findings.model import Cell, Column, Figure, Table
from pipeline.findings.source import Source
from pipeline.findings.wording import VERDICTS, counted

#: So long before the month a picture begins.
_BEFORE = timedelta(days=62)

#: Units that are drawn; the pairs of all are listed.
_MOST_DRAWN = 6


def counters(source: Source) -> tuple[Figure, ...]:
    """Return a picture for each unit of which a pair of counts does not agree in the month, in the order of names."""
    cases = source.in_month("count_checks", "to_at").filter(pl.col("verdict").is_in(list(VERDICTS)))
    units = sorted(set(cases["unit_id"]))
    left = len(units) - _MOST_DRAWN
    note = f"{counted(left, 'more unit')} not drawn; all pairs are listed." if left > 0 else ""
    return tuple(
        _counter(source, number, unit, cases.filter(unit_id=unit), note if number == _MOST_DRAWN else "")
        for number, unit in enumerate(units[:_MOST_DRAWN], 1)
    )


def _counter(source: Source, number: int, unit: str, cases: pl.DataFrame, note: str) -> Figure:
    first, after = source.bounds
    pairs = (
        source.facts("count_checks")
        .filter(pl.col("to_at") >= first - _BEFORE, pl.col("to_at") < after, unit_id=unit)
        .sort("to_at", "from_at")
    )
    start = pairs["from_count"][0]
    recorded = accumulate(pairs["expected"].fill_null(0), initial=start)
    read = ((pairs["from_at"][0], start), *pairs.select("to_at", "to_count").rows())
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (at, count, expected) for (at, count), expected in zip(read, recorded, strict=True)
    )
    told = ", ".join(dict.fromkeys(VERDICTS[verdict] for verdict in cases["verdict"]))
    columns = (
        Column("Read at", "instant"),
        Column("Own count", "count"),
        Column("By the records", "count"),
    )
    key = f"counter-{number}"
    return Figure(
        key, "staircase", f"{unit}: {told}", "Cycles by the unit's own count, and as the records add up",
        Table(key, f"{unit}: count of cycles", columns, rows), size="third", note=note,
    )  # fmt: skip
