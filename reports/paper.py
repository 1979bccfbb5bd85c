"""What of a section goes on paper: a month's page would fill thirty sheets, and a meeting reads eight."""

from __future__ import annotations

from pipeline.findings.model import Section
from pipeline.findings.wording import counted, listed

#: Columns of a row of figures, and how many each size takes.
_ROW = 6
_SPANS = {"third": 2, "half": 3, "full": _ROW}


def printed(section: Section) -> int:
    """Return how many of a section's figures are printed: those of its first row."""
    taken = 0
    for number, figure in enumerate(section.figures):
        taken += _SPANS[figure.size]
        if taken > _ROW:
            return number
    return len(section.figures)


def told_more(section: Section) -> str:
    """Say what of a section is on screen only: further charts, and lists after the first; empty for nothing."""
    charts, lists = len(section.figures) - printed(section), max(0, len(section.tables) - 1)
    return listed(
        [f"{counted(number, what)} more" for number, what in ((charts, "chart"), (lists, "list")) if number]
    )
