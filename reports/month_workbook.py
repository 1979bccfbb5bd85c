"""A month's findings as a workbook: what to read first, every measure, and a sheet for each section's tables.

Every number and every instant of the findings is in it, in the site's local time. Nothing is a formula or a link.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from pipeline.findings.cautions import CAUTIONS, PSEUDONYMS
from pipeline.findings.model import Attention, Cell, SiteFindings
from pipeline.findings.months import month_name
from pipeline.findings.opening import known_at, tally
from reports.month_sheets import Block, Sheet, measures_sheet, months_sheet, section_sheets
from reports.text_only import TEXT_STAYS_TEXT

#: How a number of each kind of column is printed; the unit stands in the head of its column.
_NUMBER_FORMATS = {
    "count": "#,##0", "figure": "#,##0.0###", "points": "0.0%", "share": "0.0%", "hours": "#,##0.0", "minutes": "#,##0",
    "days": "#,##0.0", "millilitres": "#,##0", "ratio": "#,##0.00", "number": "#,##0.0", "instant": "yyyy-mm-dd hh:mm",
}  # fmt: skip
_UNITS = {"hours": "h", "minutes": "min", "days": "days", "millilitres": "mL"}

#: Widths in letters; the height of a line in points; the size of an A4 page as spreadsheets number it.
_LEAST, _MOST, _INSTANT, _HEAD, _FIRST = 7, 44, 17, 11, (24, 60, 90, 22)
_LINE_HEIGHT, _A4 = 15, 9


@dataclass(frozen=True)
class _Book:
    """An open workbook, its formats by name, and the zone of its instants."""

    workbook: Workbook
    formats: dict[str, Format]
    zone: ZoneInfo


def month_workbook(findings: SiteFindings) -> bytes:
    """Return the bytes of an XLSX file; the same findings give the same bytes."""
    buffer = io.BytesIO()
    workbook = xlsxwriter.Workbook(buffer, TEXT_STAYS_TEXT)
    made = datetime.combine(findings.as_of.date(), time())
    workbook.set_properties({"created": made, "title": _title(findings)})
    book = _Book(workbook, _formats(workbook), ZoneInfo(findings.time_zone))
    sheets = [measures_sheet(findings), months_sheet(findings), *section_sheets(findings)]
    _read_first(book, findings, sheets)
    for sheet in sheets:
        _add(book, sheet)
    workbook.close()
    return buffer.getvalue()


def _title(findings: SiteFindings) -> str:
    return f"{findings.site_id}: high-flow units in {month_name(findings.month)}"


def _formats(workbook: Workbook) -> dict[str, Format]:
    stated = {
        "title": {"bold": True, "font_size": 14},
        "caption": {"italic": True},
        "head": {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"},
        "text": {"text_wrap": True, "valign": "top"},
        "bold": {"text_wrap": True, "valign": "top", "bold": True},
        **{kind: {"num_format": form, "valign": "top"} for kind, form in _NUMBER_FORMATS.items()},
    }
    return {name: workbook.add_format(looks) for name, looks in stated.items()}


def _read_first(book: _Book, findings: SiteFindings, sheets: Sequence[Sheet]) -> None:
    """Add the sheet with the cautions, what needs attention, and what each sheet holds."""
    sheet = book.workbook.add_worksheet("Read first")
    for place, width in enumerate(_FIRST):
        sheet.set_column(place, place, width)
    lines = [
        *findings.shared,
        findings.scope,
        known_at(findings),
        *CAUTIONS,
        *(() if findings.shared else (PSEUDONYMS,)),
        "",
        tally(findings),
        *findings.signals,
        "",
    ]
    sheet.write_string(0, 0, _title(findings), book.formats["title"])
    sheet.freeze_panes(1, 0)
    for row, words in enumerate(lines, start=1):
        if words:
            sheet.write_string(row, 0, words)
    listed = _list(book, sheet, len(lines) + 1, _ATTENTION, [_cells(item) for item in findings.attention])
    _list(book, sheet, listed + 1, ("Sheet", "What it holds"), [(item.name, item.title) for item in sheets])
    _for_paper(sheet)


_ATTENTION = ("Status", "What needs attention", "Evidence", "For")


def _cells(item: Attention) -> tuple[str, ...]:
    return (item.status, item.headline, item.evidence, item.reader)


def _list(
    book: _Book, sheet: Worksheet, top: int, heads: Sequence[str], rows: Sequence[Sequence[str]]
) -> int:
    """Write a list with its heads; return the row below it."""
    for place, head in enumerate(heads):
        sheet.write_string(top, place, head, book.formats["head"])
    for row, cells in enumerate(rows, start=top + 1):
        _set_height(sheet, row, cells, _FIRST)
        for place, words in enumerate(cells):
            sheet.write_string(row, place, words, book.formats["text"])
    return top + 1 + len(rows)


def _set_height(sheet: Worksheet, row: int, cells: Sequence[Cell], widths: Sequence[int]) -> None:
    """Make a row as high as its longest text needs: not every program does so by itself."""
    lines = [
        math.ceil(len(cell) / width)
        for cell, width in zip(cells, widths, strict=False)
        if isinstance(cell, str)
    ]
    if max(lines, default=1) > 1:
        sheet.set_row(row, _LINE_HEIGHT * max(lines))


def _add(book: _Book, sheet: Sheet) -> None:
    """Add a sheet. Its title stays in sight, and the heads too where it holds one table only."""
    added = book.workbook.add_worksheet(sheet.name)
    added.write_string(0, 0, sheet.title, book.formats["title"])
    widths = _widths(sheet.blocks)
    for place, width in enumerate(widths):
        added.set_column(place, place, width)
    row = 1
    for block in sheet.blocks:
        row = _add_block(book, added, row, block, widths) + 1
    added.freeze_panes(3 if len(sheet.blocks) == 1 else 1, 1)
    _for_paper(added)


def _add_block(book: _Book, sheet: Worksheet, top: int, block: Block, widths: Sequence[int]) -> int:
    """Write a table below its caption; return the row below it."""
    sheet.write_string(top, 0, block.caption, book.formats["caption"])
    if not block.rows:
        sheet.write_string(top + 1, 0, block.when_empty)
        return top + 2
    heads = [_head(column.name, column.kind, book.zone) for column in block.columns]
    _set_height(sheet, top + 1, heads, widths)
    for place, head in enumerate(heads):
        sheet.write_string(top + 1, place, head, book.formats["head"])
    for number, row in enumerate(block.rows, start=top + 2):
        _set_height(sheet, number, row, widths)
        for place, (cell, column) in enumerate(zip(row, block.columns, strict=True)):
            _write(book, sheet, number, place, cell, column.kind)
    return top + 2 + len(block.rows)


def _widths(blocks: Sequence[Block]) -> list[int]:
    """Return the widths of a sheet's columns, for the longest text in any of its tables; a head may take two lines."""
    found: dict[int, int] = {}
    for block in blocks:
        for place, column in enumerate(block.columns):
            texts = [len(cell) for row in block.rows if isinstance(cell := row[place], str)]
            head = _INSTANT if column.kind == "instant" else min(len(column.name), _HEAD)
            found[place] = min(max(found.get(place, _LEAST), head, *texts, 0) + 1, _MOST)
    return list(found.values())


def _head(name: str, kind: str, zone: ZoneInfo) -> str:
    if kind == "instant":
        return f"{name} ({zone.key})"
    return f"{name}, {_UNITS[kind]}" if kind in _UNITS else name


def _write(book: _Book, sheet: Worksheet, row: int, place: int, cell: Cell, kind: str) -> None:
    """Write a cell: a number as one, an instant as a date in local time, all else as text."""
    if isinstance(cell, datetime):
        local = cell.replace(tzinfo=UTC).astimezone(book.zone).replace(tzinfo=None)
        sheet.write_datetime(row, place, local, book.formats["instant"])
    elif isinstance(cell, int | float):
        sheet.write_number(row, place, cell, book.formats.get(kind, book.formats["number"]))
    elif cell:
        sheet.write_string(row, place, cell, book.formats["text"])


def _for_paper(sheet: Worksheet) -> None:
    sheet.set_paper(_A4)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&LThe cautions on the first sheet hold for every figure.&RPage &P of &N")
