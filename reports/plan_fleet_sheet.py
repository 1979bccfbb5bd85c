"""The fleet sheet of the buyer's workbook: three inputs, and the shortage for every number of units."""

from __future__ import annotations

import polars as pl

from reports.plan_workbook import Book

_FIRST = 1


def add_fleet(book: Book) -> None:
    """Add Erlang B by its recursion, cell below cell, for the load that the inputs make."""
    sheet = book.sheet(
        "Fleet", {"Units": 10, "Arrivals that find none": 14, "": 3, "Setting": 40, "Value": 12}, False
    )
    rows = book.table("fleet_plan").filter(pl.col("turnaround") == "observed").sort("units")
    one = rows.row(0, named=True)
    settings = (
        ("Stays started a day in the busiest month", one["arrivals_per_day"]),
        ("Hours of therapy for each", one["mean_stay_h"]),
        ("Hours until reprocessed for each", one["mean_turnaround_h"]),
    )
    for row, (words, value) in enumerate(settings, start=_FIRST):
        sheet.write_string(row, 3, words, book.formats["text"])
        sheet.write_number(row, 4, value, book.formats["input"])
    sheet.write_string(4, 3, "Units held on average (offered load)", book.formats["text"])
    sheet.write_formula(4, 4, "=E2/24*(E3+E4)", book.formats["number"], one["offered_load"])
    in_service = rows.filter("in_service")["units"]
    sheet.write_string(5, 3, "Units in service", book.formats["text"])
    sheet.write_number(5, 4, in_service[0] if in_service.len() else 0, book.formats["whole"])
    for row, (units, share) in enumerate(
        rows.select("units", "shortage_probability").iter_rows(), start=_FIRST
    ):
        before = "1" if row == _FIRST else f"B{row}"
        sheet.write_number(row, 0, units, book.formats["whole"])
        formula = f"=$E$5*{before}/(A{row + 1}+$E$5*{before})"
        sheet.write_formula(row, 1, formula, book.formats["share"], share)
    sheet.protect()
