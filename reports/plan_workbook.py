"""The buyer's workbook: cautions first, inputs as shaded cells, and orders, need, budget and fleet that follow them.

A formula is written with the value that it gives for the inputs of the plan, so that a viewer that computes
nothing shows the same figures. Nothing that a cell says may become a formula, a link or a number.
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

import polars as pl
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from pipeline.findings.cautions import CAUTIONS, PLANNING
from pipeline.planning.plan import Plan, side_by_side
from pipeline.store.parquet import write_bytes
from reports.text_only import TEXT_STAYS_TEXT

_FORMATS: Mapping[str, dict[str, Any]] = {
    "title": {"bold": True, "font_size": 14},
    "head": {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"},
    "text": {"text_wrap": True, "valign": "top"},
    "number": {"num_format": "#,##0.0##"},
    "whole": {"num_format": "#,##0"},
    "money": {"num_format": "#,##0.00"},
    "share": {"num_format": "0.00%"},
    "day": {"num_format": "yyyy-mm-dd"},
    "total": {"bold": True, "top": 1, "num_format": "#,##0.00"},
    "input": {"bg_color": "#efe3c2", "border": 1, "locked": False, "num_format": "#,##0.0##"},
}

#: Heights in points: a head of three lines, and a line of text. The first sheet is as wide as an A4 page, which
#: holds about as many letters to a line.
_HEAD_HEIGHT, _LINE_HEIGHT, _FIRST_WIDTH, _A4 = 45, 15, 85, 9


@dataclass(frozen=True)
class Book:
    """An open workbook with its formats, and the tables of one site."""

    workbook: Workbook
    formats: Mapping[str, Format]
    tables: Mapping[str, pl.DataFrame]
    currency: str

    def table(self, name: str) -> pl.DataFrame:
        """Return a table of the site, empty when the plan has none."""
        return self.tables.get(name, pl.DataFrame())

    def sheet(self, name: str, columns: Mapping[str, int], landscape: bool = True) -> Worksheet:
        """Return a new sheet, made to print, whose first row names the columns (with their widths)."""
        sheet = self.workbook.add_worksheet(name)
        for place, (column, width) in enumerate(columns.items()):
            sheet.write_string(0, place, column, self.formats["head"])
            sheet.set_column(place, place, width)
        sheet.set_row(0, _HEAD_HEIGHT)
        sheet.freeze_panes(1, 0)
        sheet.repeat_rows(0)
        sheet.set_paper(_A4)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{PLANNING}&RPage &P of &N")
        if landscape:
            sheet.set_landscape()
        return sheet


def write_workbooks(plan: Plan, to: Path) -> list[Path]:
    """Write one workbook for each site into a folder; the same plan gives the same bytes."""
    paths = []
    for site in sorted(plan.sites):
        path = to / f"plan_{quote(site, safe='')}.xlsx"
        write_bytes(path, plan_workbook(plan, site))
        paths.append(path)
    return paths


def plan_workbook(plan: Plan, site: str) -> bytes:
    """Return the bytes of one site's workbook."""
    from reports import plan_fleet_sheet, plan_order_sheets

    buffer = io.BytesIO()
    workbook = xlsxwriter.Workbook(buffer, TEXT_STAYS_TEXT)
    workbook.set_properties({"created": plan.as_of, "title": f"Plan of {site}"})
    formats = {name: workbook.add_format(stated) for name, stated in _FORMATS.items()}
    own = {name: rows.filter(pl.col("site_id") == site) for name, rows in plan.tables.items()}
    book = Book(workbook, formats, own, plan.sites[site].currency)
    _read_first(book, plan, site)
    if book.table("stock_plan").height:
        plan_order_sheets.add_inputs(book)
        plan_order_sheets.add_orders(book)
        plan_order_sheets.add_need(book)
        plan_order_sheets.add_budget(book)
    if book.table("fleet_plan").height:
        plan_fleet_sheet.add_fleet(book)
    if book.table("plan_findings").height:
        _add_rows(book, "Findings", book.table("plan_findings").select("code", "item_id", "part", "message"))
    if book.table("plan_comparison").height:
        _add_rows(book, "Plans side by side", side_by_side(book.table("plan_comparison")))
    workbook.close()
    return buffer.getvalue()


def _read_first(book: Book, plan: Plan, site: str) -> None:
    sheet = book.workbook.add_worksheet("Read first")
    sheet.set_column(0, 0, _FIRST_WIDTH, book.formats["text"])
    sheet.set_paper(_A4)
    sheet.set_landscape()
    sheet.write_string(
        0, 0, f"Plan of {site}, from records up to {plan.as_of:%Y-%m-%d}", book.formats["title"]
    )
    lines = [
        f"{PLANNING} The figures are estimates from past records.",
        *CAUTIONS,
        *(words for words in plan.cautions if words.startswith(f"{site}: ")),
        "Shaded cells are yours to change; the sheets follow them. Pieces and months come from the plan and stay.",
        *(row["note"] for row in book.table("plan_notes").iter_rows(named=True)),
    ]
    for row, words in enumerate(lines, start=2):
        sheet.set_row(row, _LINE_HEIGHT * math.ceil(len(words) / _FIRST_WIDTH))
        sheet.write_string(row, 0, words, book.formats["text"])


def _add_rows(book: Book, name: str, rows: pl.DataFrame) -> None:
    longest = {column: max((len(str(cell)) for cell in rows[column]), default=0) for column in rows.columns}
    sheet = book.sheet(
        name, {column: min(max(longest[column], len(column), 12), 70) for column in rows.columns}
    )
    for number, cells in enumerate(rows.iter_rows(), start=1):
        for place, cell in enumerate(cells):
            if isinstance(cell, int | float):
                sheet.write_number(number, place, cell, book.formats["number"])
            elif cell is not None:
                sheet.write_string(number, place, str(cell), book.formats["text"])
