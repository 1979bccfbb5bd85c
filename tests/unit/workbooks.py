"""Workbooks for tests, made in memory."""

import datetime
import io
from collections.abc import Sequence

import xlsxwriter

Cell = str | float | bool | datetime.datetime | datetime.date | datetime.time | datetime.timedelta | None
#: The same bytes for the same cells: a workbook states when it was made.
_MADE = datetime.datetime(2026, 1, 1)
_FORMATS = {
    datetime.datetime: "dd/mm/yyyy hh:mm",
    datetime.date: "dd/mm/yyyy",
    datetime.time: "hh:mm",
    datetime.timedelta: "[h]:mm",
}


def workbook(*sheets: tuple[str, Sequence[Sequence[Cell]]], date_1904: bool = False) -> bytes:
    """A workbook of typed cells. '=1+1' is a formula without a saved value, '=#REF!' one that failed."""
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, {"date_1904": date_1904, "in_memory": True}) as book:
        book.set_properties({"created": _MADE})
        shown = {kind: book.add_format({"num_format": text}) for kind, text in _FORMATS.items()}
        for name, rows in sheets:
            sheet = book.add_worksheet(name)
            for row, cells in enumerate(rows):
                for column, cell in enumerate(cells):
                    _write(sheet, row, column, cell, shown)
    return made.getvalue()


def _write(sheet, row, column, cell, shown):
    if isinstance(cell, bool):
        sheet.write_boolean(row, column, cell)
    elif isinstance(cell, int | float):
        sheet.write_number(row, column, cell)
    elif type(cell) in shown:
        sheet.write_datetime(row, column, cell, shown[type(cell)])
    elif isinstance(cell, str) and cell.startswith("=#"):
        sheet.write_formula(row, column, "=A1/0", None, cell[1:])
    elif isinstance(cell, str) and cell.startswith("="):
        sheet.write_formula(row, column, cell, None, "")
    elif cell is not None:
        sheet.write_string(row, column, cell)
