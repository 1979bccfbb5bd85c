"""Workbooks to hand to people: every cell is text or a whole number, and no text can act as anything else."""

from __future__ import annotations

import datetime
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import xlsxwriter

#: A formula, link or number in a text stays the text that it is.
_TEXT_STAYS_TEXT = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}
#: The same bytes for the same rows: a workbook states when it was made, and this says nothing.
_MADE = datetime.datetime(2000, 1, 1)
#: What a cell and a sheet can hold.
_LONGEST_TEXT, _MOST_ROWS = 32_767, 1_048_575
_WIDEST = 60


@dataclass(frozen=True)
class SheetOfText:
    """A sheet's column names with their widths in letters, and its rows; ``hidden`` columns stay with them."""

    columns: Mapping[str, int]
    rows: Iterable[Sequence[str | int | None]]
    hidden: frozenset[str] = field(default_factory=frozenset)


def workbook_bytes(sheets: Mapping[str, SheetOfText]) -> bytes:
    """Return a workbook with frozen header rows; what is too long for a cell is cut and ends in '…'."""
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, _TEXT_STAYS_TEXT) as book:
        book.set_properties({"created": _MADE})
        bold, text = book.add_format({"bold": True, "bottom": 1}), book.add_format({"num_format": "@"})
        for name, content in sheets.items():
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 0)
            for place, (column, width) in enumerate(content.columns.items()):
                hidden = {"hidden": column in content.hidden}
                sheet.set_column(place, place, min(width, _WIDEST), text, hidden)
                sheet.write_string(0, place, column, bold)
            for number, row in zip(range(1, _MOST_ROWS + 1), content.rows, strict=False):
                for place, said in enumerate(row):
                    _write(sheet, number, place, said, text)
    return made.getvalue()


def _write(
    sheet: xlsxwriter.worksheet.Worksheet,
    row: int,
    column: int,
    said: str | int | None,
    text: xlsxwriter.format.Format,
) -> None:
    if isinstance(said, int):
        sheet.write_number(row, column, said)
    elif said:
        cut = said if len(said) <= _LONGEST_TEXT else f"{said[: _LONGEST_TEXT - 1]}…"
        sheet.write_string(row, column, cut, text)
