"""Figures that several sections share: control charts, and shares with their intervals side by side."""

from __future__ import annotations

import polars as pl

from pipeline.findings.model import Column, Figure, Measure, Section, Share, Table
from pipeline.findings.source import SHOWN_MONTHS, Source
from pipeline.findings.wording import listed, lower_first, shown

#: More wards than these are counted in a title and not named.
_NAMED_WARDS = 3


def control_figure(measure: Measure, subtitle: str, size: str = "half") -> Figure:
    """Return a measure's control chart; its title is the reading that the chart's rules gave."""
    months = measure.points[-SHOWN_MONTHS:]
    share = measure.unit == "share" and any(point.total is not None for point in months)
    counts = (Column("Cases", "count"), Column("Of", "count")) if share else ()
    limits = (Column("Low", measure.unit), Column("High", measure.unit)) if share else ()
    chart = ("Baseline", "Lower limit", "Upper limit")
    columns = (
        Column("Month", "month"),
        *counts,
        Column("Value", measure.unit),
        *limits,
        *(Column(name, measure.unit) for name in chart),
        Column("Signal"),
    )
    rows = tuple(
        (
            point.month,
            *((point.count, point.total) if share else ()),
            point.value,
            *((point.low, point.high) if share else ()),
            point.centre,
            point.lower,
            point.upper,
            point.signal.replace("_", " "),
        )
        for point in months
    )
    title = f"{measure.subject}: {shown(measure.now.value, measure.unit)} – {lower_first(measure.reading)}"
    table = Table(f"months-{measure.key}", f"{measure.subject} by month", columns, rows)
    return Figure(f"months-{measure.key}", f"control_{measure.unit}", title, subtitle, table, size=size)


def interval_table(key: str, caption: str, first: str, rows: list[tuple[str, str, int, int]]) -> Table:
    """Return shares with their intervals; ``rows`` are name, period, count, total."""
    columns = (
        Column(first),
        Column("Period"),
        Column("Cases", "count"),
        Column("Of", "count"),
        Column("Share", "share"),
        Column("Low", "share"),
        Column("High", "share"),
    )
    shares = [(*row, Share(row[2], row[3])) for row in sorted(rows, key=lambda row: row[0])]
    cells = tuple((*row[:4], row[4].value, *(row[4].limits or (None, None))) for row in shares)
    return Table(key, caption, columns, cells)


def section_of(
    source: Source,
    key: str,
    table: str,
    reader: str,
    *,
    paragraphs: tuple[str, ...] = (),
    figures: tuple[Figure, ...] = (),
    tables: tuple[Table, ...] = (),
    caveats: tuple[str, ...] = (),
) -> Section:
    """Return a section whose title, question and caveats are those of the SQL model of a table."""
    model = source.models[table]
    return Section(
        key=key,
        model=table,
        title=model.text("title"),
        question=model.text("question"),
        reader=reader,
        paragraphs=paragraphs,
        caveats=(*model.header.get("caveat", ()), *caveats),
        figures=figures,
        tables=tables,
    )


def ward_sums(rows: pl.DataFrame, count: str, total: str) -> list[tuple[str, int, int]]:
    """Return each ward's count and total over the rows, in the order of the alphabet."""
    sums = rows.group_by("ward").agg(pl.col(count, total).sum()).sort("ward")
    return [(ward, int(part), int(of)) for ward, part, of in sums.rows()]


def ward_title(subject: str, measure: Measure, rows: pl.DataFrame, count: str, total: str) -> str:
    """Say which wards' intervals leave out the site's share; nothing is said of their order."""
    shares = {ward: Share(part, of) for ward, part, of in ward_sums(rows, count, total) if of}
    site = measure.now.value
    if site is None or not shares:
        return f"{subject}: no ward can be judged this month"
    apart = [
        ward
        for ward, share in shares.items()
        if share.limits and not share.limits[0] <= site <= share.limits[1]
    ]
    if not apart:
        return f"{subject}: the site's {shown(site, 'share')} lies inside every ward's interval"
    which = listed(apart) if len(apart) <= _NAMED_WARDS else f"{len(apart)} of {len(shares)} wards"
    return f"{subject}: the site's {shown(site, 'share')} lies outside the interval of {which}"
