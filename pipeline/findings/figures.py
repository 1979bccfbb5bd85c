"""Figures that several sections share: control charts, and shares with their intervals side by side."""

from __future__ import annotations

import polars as pl

from pipeline.findings.model import Column, Figure, Measure, Share, Table
from pipeline.findings.source import SHOWN_MONTHS
from pipeline.findings.wording import lower_first, shown


def control_figure(measure: Measure, subtitle: str, size: str = "half") -> Figure:
    """Return a measure's control chart; its title is the reading that the chart's rules gave."""
    months = measure.points[-SHOWN_MONTHS:]
    share = measure.unit == "share" and any(point.total is not None for point in months)
    counts = (Column("Cases", "count"), Column("Of", "count")) if share else ()
    limits = (Column("Low", measure.unit), Column("High", measure.unit)) if share else ()
    chart = ("Baseline", "Lower limit", "Upper limit")
    columns = (
        Column("Month", "month"), *counts, Column("Value", measure.unit), *limits,
        *(Column(name, measure.unit) for name in chart), Column("Signal"),
    )  # fmt: skip
    rows = tuple(
        (
            point.month,
            *((point.count, point.total) if share else ()),
            point.value,
            *((point.low, point.high) if share else ()),
            point.centre, point.lower, point.upper, point.signal.replace("_", " "),
        )
        for point in months
    )  # fmt: skip
    title = f"{measure.subject}: {shown(measure.now.value, measure.unit)} – {lower_first(measure.reading)}"
    table = Table(f"months-{measure.key}", f"{measure.subject} by month", columns, rows)
    return Figure(f"months-{measure.key}", f"control_{measure.unit}", title, subtitle, table, size=size)


def interval_table(key: str, caption: str, first: str, rows: list[tuple[str, str, int, int]]) -> Table:
    """Return shares with their intervals; ``rows`` are name, period, count, total."""
    columns = (
        Column(first), Column("Period"), Column("Cases", "count"), Column("Of", "count"),
        Column("Share", "share"), Column("Low", "share"), Column("High", "share"),
    )  # fmt: skip
    shares = [(*row, Share(row[2], row[3])) for row in sorted(rows, key=lambda row: row[0])]
    cells = tuple((*row[:4], row[4].value, *(row[4].limits or (None, None))) for row in shares)
    return Table(key, caption, columns, cells)


def ward_sums(rows: pl.DataFrame, count: str, total: str) -> list[tuple[str, int, int]]:
    sums = rows.group_by("ward").agg(pl.col(count, total).sum()).sort("ward")
    return [(ward, int(part), int(of)) for ward, part, of in sums.rows()]


def ward_title(subject: str, measure: Measure, rows: pl.DataFrame, count: str, total: str) -> str:
    """Say which wards' intervals leave out the site's share; nothing is said of their order."""
    shares = {ward: Share(part, of) for ward, part, of in ward_sums(rows, count, total) if of}
    site = measure.now.value
    if site is None or not shares:
        return f"{subject}: no ward can be judged this month"
    apart = [ward for ward, share in shares.items() if share.limits and not share.limits[0] <= site <= share.limits[1]]
    if apart:
        return f"{subject}: the site's {shown(site, 'share')} lies outside the interval of {len(apart)} of {len(shares)} wards"
    return f"{subject}: the site's {shown(site, 'share')} lies inside every ward's interval"
