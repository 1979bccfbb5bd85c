"""What the sheets of a month's workbook hold: measures, their months, and the tables of each section."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.findings.model import Cell, Column, Figure, Section, SiteFindings, Table
from pipeline.findings.months import month_name

#: Letters that a sheet's name may not have, and how long it may be.
_FORBIDDEN, _LONGEST = re.compile(r"[\[\]:*?/\\'\x00-\x1f]"), 31


@dataclass(frozen=True)
class Block:
    """A table on a sheet, below its caption."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    when_empty: str = ""


@dataclass(frozen=True)
class Sheet:
    """A sheet: its name, its title, and its tables one below the other."""

    name: str
    title: str
    blocks: tuple[Block, ...]


def measures_sheet(findings: SiteFindings) -> Sheet:
    """Return every measure in the month beside its baseline."""
    columns = (
        Column("Group"), Column("Measure"), Column("Unit"), Column("Value", "figure"), Column("Count", "count"),
        Column("Out of", "figure"), Column("95% from", "figure"), Column("95% to", "figure"),
        Column("Baseline", "figure"), Column("Baseline count", "count"), Column("Baseline out of", "figure"),
        Column("Baseline from"), Column("Baseline to"), Column("Provisional"), Column("Difference", "figure"),
        Column("Difference 95% from", "figure"), Column("Difference 95% to", "figure"), Column("Status"),
        Column("Reading"),
    )  # fmt: skip
    rows = []
    for item in findings.measures:
        now, then, apart = item.now, item.reference, item.difference
        first, last = (then.months[0], then.months[-1]) if then.months else (None, None)
        rows.append((
            item.group, item.label, item.unit, now.value, now.count, now.total, now.low, now.high, then.value,
            then.count, then.total, first, last, "yes" if then.provisional else "no",
            apart.value if apart else None, apart.low if apart else None, apart.high if apart else None,
            item.status, item.reading,
        ))  # fmt: skip
    caption = f"Every measure in {month_name(findings.month)}, beside its baseline; shares as fractions of 1"
    return Sheet("Measures", "Measures at a glance", (Block(caption, columns, tuple(rows)),))


def months_sheet(findings: SiteFindings) -> Sheet:
    """Return every month of every measure."""
    columns = (
        Column("Group"), Column("Measure"), Column("Unit"), Column("Month"), Column("Value", "figure"),
        Column("Count", "count"), Column("Out of", "figure"), Column("95% from", "figure"),
        Column("95% to", "figure"), Column("Baseline", "figure"), Column("Lower limit", "figure"),
        Column("Upper limit", "figure"), Column("Signal"),
    )  # fmt: skip
    rows = tuple(
        (item.group, item.label, item.unit, point.month, point.value, point.count, point.total, point.low,
         point.high, point.centre, point.lower, point.upper, point.signal or None)
        for item in findings.measures
        for point in item.points
    )  # fmt: skip
    block = Block("Every measure by month; shares as fractions of 1", columns, rows)
    return Sheet("Months", "Measures by month", (block,))


def section_sheets(findings: SiteFindings) -> list[Sheet]:
    """Return a sheet for each section, numbered as on the page: its lists first, then the rows behind its charts."""
    return [
        Sheet(
            sheet_name(f"{number} {section.title}"),
            f"{section.title}. {section.question}",
            (*map(_of_table, section.tables), *map(_of_figure, _drawn(section))),
        )
        for number, section in enumerate(findings.sections, start=1)
    ]


def sheet_name(text: str) -> str:
    """Return a text as a sheet's name.

    >>> sheet_name("1 Stays by ward: 3/4 of [them] and all")
    '1 Stays by ward 34 of them and'
    """
    return _FORBIDDEN.sub("", text)[:_LONGEST].strip()


def _drawn(section: Section) -> list[Figure]:
    return [figure for figure in section.figures if figure.table.rows]


def _of_table(table: Table) -> Block:
    return Block(table.caption, table.columns, table.rows, table.when_empty)


def _of_figure(figure: Figure) -> Block:
    return Block(f"Chart: {figure.title}. {figure.subtitle}.", figure.table.columns, figure.table.rows)
