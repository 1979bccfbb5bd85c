"""An answer as a workbook: cautions first, then one sheet per table; every text stays text."""

from __future__ import annotations

import io
from datetime import datetime

import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from pipeline.tracing.answer import Answer
from reports.text_only import TEXT_STAYS_TEXT

#: A workbook notes when it was made; the same answer gives the same bytes.
_MADE = datetime(2026, 1, 1)
_WIDTH = 60


def answer_workbook(answer: Answer) -> bytes:
    """Return the bytes of an XLSX file."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, TEXT_STAYS_TEXT)
    book.set_properties({"created": _MADE, "title": answer.title})
    head, wrapped = (
        book.add_format({"bold": True, "bottom": 1}),
        book.add_format({"text_wrap": True, "valign": "top"}),
    )
    first = book.add_worksheet("Read first")
    first.set_column(0, 0, 110, wrapped)
    lines = (answer.title, answer.scope, *answer.cautions, *answer.notes, *answer.sentences)
    for row, text in enumerate(lines):
        first.write_string(row, 0, text, head if row == 0 else wrapped)
    for table in answer.tables:
        sheet = book.add_worksheet(table.key.replace("_", " ").capitalize()[:31])
        sheet.freeze_panes(1, 0)
        sheet.repeat_rows(0)
        for place, column in enumerate(table.columns):
            sheet.write_string(0, place, column.name, head)
            longest = max((len(str(row[place])) for row in table.rows), default=0)
            sheet.set_column(place, place, min(max(longest, len(column.name)) + 2, _WIDTH), wrapped)
        for number, cells in enumerate(table.rows, start=1):
            for place, cell in enumerate(cells):
                _write(sheet, number, place, cell)
    book.close()
    return buffer.getvalue()


def _write(sheet: Worksheet, row: int, place: int, cell: object) -> None:
    if isinstance(cell, int | float):
        sheet.write_number(row, place, cell)
    elif cell is not None:
        sheet.write_string(row, place, str(cell))
