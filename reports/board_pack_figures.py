"""Which charts go into the board pack, and how wide."""

from __future__ import annotations

from collections import Counter
from typing import Any

from pipeline.findings.model import Figure, Section, SiteFindings, Table

#: Charts for one reader, shared by the sections meant for them.
MOST_FIGURES = 8

#: Widths in pixels at which a chart's 11-pixel text is 8 points on paper, and 10-pixel text above 7.
PRINT_WIDTHS = {"third": 336, "half": 336, "full": 690}

#: Panels side by side, whose text would be too small on paper.
_SCREEN_ONLY = {"ward_months"}


def pack_figures(findings: SiteFindings) -> dict[str, list[Figure]]:
    """Return the board pack's charts of each section, by the section's key."""
    sections_of = Counter(section.reader for section in findings.sections)
    return {
        section.key: main_figures(section, max(2, MOST_FIGURES // sections_of[section.reader]))
        for section in findings.sections
    }


def width_on_paper(figure: Figure, spec: dict[str, Any]) -> dict[str, Any]:
    """Return a chart's specification at its width on paper; panels side by side keep widths of their own."""
    return spec | {"width": PRINT_WIDTHS[figure.size]} if "width" in spec else spec


def main_figures(section: Section, most: int) -> list[Figure]:
    """Return so many of a section's charts that have something to draw: those that signal at the latest first."""
    drawn = [figure for figure in section.figures if figure.table.rows and figure.chart not in _SCREEN_ONLY]
    return sorted(drawn, key=lambda figure: not _signals(figure.table))[:most]


def _signals(table: Table) -> bool:
    """Say whether the last row of a chart over time is a signal."""
    names = [column.name for column in table.columns]
    return "Signal" in names and bool(table.rows[-1][names.index("Signal")])
