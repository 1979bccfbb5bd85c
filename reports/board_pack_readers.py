"""The board pack's part for each reader: the sections meant for them, with their main charts and short tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from pipeline.findings.wording import NOT_KNOWN, counted, listed, lower_first, shown
from reports import svg
from reports.board_pack_text import FAMILY, printable
from reports.charts.keys import keys_of
from reports.compiled import Vega, at_width
from reports.page import NUMBERS

READERS = (QUALITY_LEAD, INFECTION_CONTROL, PURCHASING, WARD)

#: Charts for one reader, shared by the sections meant for them; rows of a table before the rest is left to the page.
MOST_FIGURES, MOST_ROWS = 8, 30

#: Widths in pixels at which a chart's 11-pixel text is 8 points on paper, and 10-pixel text above 7.
PRINT_WIDTHS = {"third": 336, "half": 336, "full": 690}

#: Panels side by side, whose text would be too small on paper.
_SCREEN_ONLY = {"ward_months"}


def readers(findings: SiteFindings, charts: Mapping[str, Vega], zone: ZoneInfo) -> list[dict[str, Any]]:
    """Return a part for each reader that some section is meant for."""
    names = dict.fromkeys((*READERS, *(section.reader for section in findings.sections)))
    by_reader = {name: [item for item in findings.sections if item.reader == name] for name in names}
    return [
        {
            "name": name,
            "sections": [_section(item, charts, zone, max(2, MOST_FIGURES // len(own))) for item in own],
        }
        for name, own in by_reader.items()
        if own
    ]


def main_figures(section: Section, most: int) -> list[Figure]:
    """Return so many of a section's charts that have something to draw: those that signal at the latest first."""
    drawn = [figure for figure in section.figures if figure.table.rows and figure.chart not in _SCREEN_ONLY]
    return sorted(drawn, key=lambda figure: not _signals(figure.table))[:most]


def _signals(table: Table) -> bool:
    """Say whether the last row of a chart over time is a signal."""
    names = [column.name for column in table.columns]
    return "Signal" in names and bool(table.rows[-1][names.index("Signal")])


def _section(section: Section, charts: Mapping[str, Vega], zone: ZoneInfo, most: int) -> dict[str, Any]:
    figures = main_figures(section, most)
    tables = [table for table in section.tables if not table.folded]
    return {
        "key": section.key,
        "title": section.title,
        "question": section.question,
        "paragraphs": list(section.paragraphs),
        "figures": [_figure(figure, charts[figure.key]) for figure in figures],
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


def _figure(figure: Figure, chart: Vega) -> dict[str, Any]:
    return {
        "title": figure.title,
        "subtitle": figure.subtitle,
        "note": figure.note,
        "wide": figure.size == "full",
        "keys": [{"word": key.word, "look": key.look} for key in keys_of(figure)],
        "svg": printable(svg.printed(at_width(chart, PRINT_WIDTHS[figure.size]), FAMILY)),
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
