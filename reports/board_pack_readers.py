"""The board pack's part for each reader: the sections meant for them, with their main charts and short tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.findings.model import (
    INFECTION_CONTROL,
    PURCHASING,
    QUALITY_LEAD,
    WARD,
    Figure,
    Section,
    SiteFindings,
    Table,
)
from pipeline.findings.wording import NOT_KNOWN, NUMBERS, counted, listed, lower_first, shown
from reports.board_pack_figures import pack_figures
from reports.board_pack_text import printable
from reports.charts.keys import keys_of
from reports.drawings import Drawings

READERS = (QUALITY_LEAD, INFECTION_CONTROL, PURCHASING, WARD)

#: Rows of a table before the rest is left to the page.
MOST_ROWS = 30


def readers(findings: SiteFindings, drawings: Drawings, zone: ZoneInfo) -> list[dict[str, Any]]:
    """Return a part for each reader that some section is meant for."""
    names = dict.fromkeys((*READERS, *(section.reader for section in findings.sections)))
    by_reader = {name: [item for item in findings.sections if item.reader == name] for name in names}
    figures = pack_figures(findings)
    return [
        {
            "name": name,
            "sections": [_section(item, figures[item.key], drawings, zone) for item in own],
        }
        for name, own in by_reader.items()
        if own
    ]


def _section(
    section: Section, figures: Sequence[Figure], drawings: Drawings, zone: ZoneInfo
) -> dict[str, Any]:
    tables = [table for table in section.tables if not table.folded]
    return {
        "key": section.key,
        "title": section.title,
        "question": section.question,
        "paragraphs": list(section.paragraphs),
        "figures": [_figure(figure, drawings.on_paper(figure.key)) for figure in figures],
        "tables": [_table(table, zone) for table in tables],
        "elsewhere": _elsewhere(section, len(figures)),
        "caveats": list(section.caveats),
    }


def _elsewhere(section: Section, drawn: int) -> str:
    """Say what of a section stands in the site's page only."""
    left = sum(bool(figure.table.rows) for figure in section.figures) - drawn
    told = [counted(left, "more chart")] if left else []
    told += [lower_first(table.caption) for table in section.tables if table.folded]
    return f"In the site's page besides: {listed(told)}." if told else ""


def _figure(figure: Figure, drawing: str) -> dict[str, Any]:
    return {
        "title": figure.title,
        "subtitle": figure.subtitle,
        "note": figure.note,
        "wide": figure.size == "full",
        "keys": [{"word": key.word, "look": key.look} for key in keys_of(figure)],
        "svg": printable(drawing),
    }


def _table(table: Table, zone: ZoneInfo) -> dict[str, Any]:
    left = len(table.rows) - MOST_ROWS
    return {
        "caption": table.caption.replace(", all listed", f", the first {MOST_ROWS} here")
        if left > 0
        else table.caption,
        "columns": [
            {"name": column.name, "number": column.kind in NUMBERS, "key": column.kind == "key"}
            for column in table.columns
        ],
        "rows": [_cells(table, row, zone) for row in table.rows[:MOST_ROWS]],
        "more": f"And {left:,} more in the site's page." if left > 0 else "",
        "empty": table.when_empty,
    }


def _cells(table: Table, row: Sequence[Any], zone: ZoneInfo) -> list[str]:
    return [
        (value or NOT_KNOWN) if column.kind == "key" else shown(value, column.kind, zone)
        for column, value in zip(table.columns, row, strict=True)
    ]
