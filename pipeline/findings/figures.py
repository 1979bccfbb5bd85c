"""What several sections share: their frame, and shares with their intervals side by side."""

from __future__ import annotations

from pipeline.findings.model import Column, Figure, Section, Share, Table
from pipeline.findings.source import Source
from pipeline.findings.trust import trust


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
    """Return a section whose title, question and caveats are those of the SQL model of a table.

    How far its measures can be trusted stands below its tables.
    """
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
        tables=(*tables, *trust(source, key)),
    )
