"""The sheets of the buyer's workbook that hang together: inputs, orders, need and budget."""

from __future__ import annotations

import math
from typing import Any

import polars as pl
from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell
from xlsxwriter.worksheet import Worksheet

from pipeline.planning import stock_formulas
from pipeline.planning.reorder import SERVICE_LEVEL
from reports.plan_workbook import Book

#: Example values, shaded, to be replaced by the buyer's own.
ORDER_COST, HOLDING_SHARE = 30.0, 0.2

#: First row of items on the sheets Inputs and Orders, counted from 0; both list the items in one order.
_FIRST = 1
_INPUTS = ("pack_size", "unit_price", "lead_time_days", "lead_time_sd_days", "min_order_packs")
_DEMAND = ("need_per_day", "need_per_day_sd", "reorder_point", "reorder_point_classical")
_LEVEL, _ORDER_COST, _HOLDING = "Service_level", "Order_cost", "Holding_share"


def add_inputs(book: Book) -> None:
    """Add the sheet whose shaded cells the other sheets follow."""
    widths = {"Item": 18, "Part": 14, "Pieces in a pack": 12, f"Price of a pack ({book.currency})": 14}
    more = {
        "Lead time (days)": 12,
        "Its spread (days)": 12,
        "Least order (packs)": 12,
        "": 3,
        "Setting": 44,
        "Value": 12,
    }
    sheet = book.sheet("Inputs", widths | more)
    for row, item in enumerate(_items(book), start=_FIRST):
        sheet.write_string(row, 0, item["item_id"])
        sheet.write_string(row, 1, item["part"])
        for place, name in enumerate(_INPUTS, start=2):
            sheet.write_number(row, place, item[name], book.formats["input"])
            _allow_only(sheet, row, place, 1 if name == "pack_size" else 0, 1e9)
    settings = (
        (_LEVEL, "Share of lead times that the stock lasts", SERVICE_LEVEL, 0.5, 0.9999),
        (_ORDER_COST, f"Cost of placing an order ({book.currency}), an example", ORDER_COST, 0, 1e9),
        (_HOLDING, "Yearly cost of holding stock, share of its price, an example", HOLDING_SHARE, 0.0001, 10),
    )
    for row, (name, words, value, least, most) in enumerate(settings, start=_FIRST):
        sheet.write_string(row, 8, words, book.formats["text"])
        sheet.write_number(row, 9, value, book.formats["input"])
        _allow_only(sheet, row, 9, least, most)
        book.workbook.define_name(name, f"=Inputs!{xl_rowcol_to_cell(row, 9, True, True)}")
    sheet.protect()


def add_orders(book: Book) -> None:
    """Add what to order now: the simulated reorder point, moved by the classical formula when an input changes."""
    widths = {"Item": 18, "Part": 12, "Usable stock": 10, "On order": 10, "Need a day": 10, "Its spread": 10}
    more = {
        "Simulated order point": 12,
        "Classical order point": 12,
        "Order at": 10,
        "Days between orders": 10,
    }
    most = {"Used in shelf life": 12, "Order up to": 10, "Packs to order": 10, f"Cost ({book.currency})": 12}
    last = {"Out by (1 in 10)": 12, "Out by (half)": 12, "Economical order (packs)": 12}
    sheet = book.sheet("Orders", widths | more | most | last)
    items = _items(book)
    for row, item in enumerate(items, start=_FIRST):
        _order_row(book, sheet, row, item)
    row = _FIRST + len(items)
    total = sum((item["order_packs"] or 0) * item["unit_price"] for item in items)
    sheet.write_string(row, 0, "Total", book.formats["total"])
    sheet.write_formula(row, 13, f"=SUM(N{_FIRST + 1}:N{row})", book.formats["total"], total)
    sheet.protect()


def _order_row(book: Book, sheet: Worksheet, row: int, item: dict[str, Any]) -> None:
    whole, number, money = (book.formats[name] for name in ("whole", "number", "money"))
    sheet.write_string(row, 0, item["item_id"])
    sheet.write_string(row, 1, item["part"])
    sheet.write_number(row, 2, item["usable"], whole)
    sheet.write_number(row, 3, item["on_order"], whole)
    if item["need_per_day"] is None:
        return
    for place, name in (
        (4, "need_per_day"),
        (5, "need_per_day_sd"),
        (6, "reorder_point"),
        (7, "reorder_point_classical"),
    ):
        sheet.write_number(row, place, item[name], number)
    sheet.write_number(row, 9, item["interval_days"], whole)
    n = row + 1  # a spreadsheet counts from 1
    lead, spread, pack, price, least = (f"Inputs!{letter}{n}" for letter in "EFCDG")
    classical = f"E{n}*{lead}+NORMSINV({_LEVEL})*SQRT({lead}*F{n}^2+E{n}^2*{spread}^2)"
    sheet.write_formula(row, 8, f"=G{n}+ROUND({classical}-H{n},6)", number, item["reorder_point"])
    if item["shelf_life_days"]:
        sheet.write_number(row, 10, item["shelf_life_days"] * item["need_per_day"], number)
    used = f'IF(K{n}="",ROUND(I{n}+E{n}*J{n},6),MIN(ROUND(I{n}+E{n}*J{n},6),K{n}))'
    sheet.write_formula(row, 11, f"=MAX(ROUNDUP({used},0),I{n})", number, item["order_up_to"])
    if item["order_packs"] is None:
        sheet.write_string(row, 12, "check first")
    else:
        short = f"MAX(ROUNDUP((L{n}-C{n}-D{n})/{pack},0),{least},1)"
        sheet.write_formula(row, 12, f"=IF(C{n}+D{n}>I{n},0,{short})", whole, item["order_packs"])
        sheet.write_formula(row, 13, f"=M{n}*{price}", money, item["order_packs"] * item["unit_price"])
    for place, name in ((14, "run_out_p10_on"), (15, "run_out_p50_on")):
        if item[name] is not None:
            sheet.write_datetime(row, place, item[name], book.formats["day"])
    if item["unit_price"]:
        economical = f"=ROUNDUP(SQRT(2*{_ORDER_COST}*E{n}*365/({_HOLDING}*{price}/{pack}))/{pack},0)"
        sheet.write_formula(row, 16, economical, whole, economical_packs(item))


def economical_packs(item: dict[str, Any]) -> int:
    """Return the order of least cost in whole packs, for the example costs of ordering and holding."""
    holding = HOLDING_SHARE * item["unit_price"] / item["pack_size"]
    pieces = stock_formulas.economic_order_quantity(ORDER_COST, holding, item["need_per_day"] * 365)
    return math.ceil(pieces / item["pack_size"])


def add_need(book: Book) -> None:
    """Add the year's need by the rules: pieces from the plan, packs and money by the inputs."""
    rows = _year(book)
    widths = {
        "Item": 18,
        "Part": 12,
        "Need (half)": 12,
        "Need (9 in 10)": 12,
        "Packs (half)": 10,
        "Packs (9 in 10)": 10,
    }
    sheet = book.sheet(
        "Need", widths | {f"Cost, half ({book.currency})": 14, f"Cost, 9 in 10 ({book.currency})": 14}
    )
    place_of = {item["item_id"]: number for number, item in enumerate(_items(book), start=_FIRST + 1)}
    costs = [0.0, 0.0]
    kept = [row for row in rows.iter_rows(named=True) if row["item_id"] in place_of]
    for row, item in enumerate(kept, start=_FIRST):
        n, at = row + 1, place_of[item["item_id"]]
        sheet.write_string(row, 0, item["item_id"])
        sheet.write_string(row, 1, item["part"])
        for number, level in enumerate(("p50", "p90")):
            pieces, packs, cost = (item[f"{name}_{level}"] for name in ("need", "packs", "cost"))
            letters = [xl_col_to_name(place + number) for place in (2, 4)]
            sheet.write_number(row, 2 + number, pieces, book.formats["whole"])
            sheet.write_formula(
                row, 4 + number, f"=ROUNDUP({letters[0]}{n}/Inputs!C{at},0)", book.formats["whole"], packs
            )
            sheet.write_formula(
                row, 6 + number, f"={letters[1]}{n}*Inputs!D{at}", book.formats["money"], cost
            )
            costs[number] += cost
    _total(book, sheet, _FIRST + len(kept), 6, costs)
    sheet.protect()


def add_budget(book: Book) -> None:
    """Add the packs that the levels lead to in each month, and their cost by the inputs."""
    budget = book.table("order_budget")
    months = budget["month"].unique().sort().to_list() if budget.height else []
    sheet = book.sheet(
        "Budget", {"Item": 18, "Part": 12} | dict.fromkeys(months, 11) | {f"Cost ({book.currency})": 14}
    )
    items = _items(book)
    by_month, total = [0.0] * len(months), 0.0
    for row, item in enumerate(items, start=_FIRST):
        sheet.write_string(row, 0, item["item_id"])
        sheet.write_string(row, 1, item["part"])
        own = budget.filter(pl.col("item_id") == item["item_id"]) if months else budget
        packs = dict(own.select("month", "order_packs").iter_rows()) if months else {}
        for number, month in enumerate(months):
            sheet.write_number(row, 2 + number, packs.get(month, 0), book.formats["whole"])
            by_month[number] += packs.get(month, 0) * item["unit_price"]
        cost = sum(packs.values()) * item["unit_price"]
        total += cost
        if months:
            span = f"C{row + 1}:{xl_col_to_name(1 + len(months))}{row + 1}"
            sheet.write_formula(
                row, 2 + len(months), f"=SUM({span})*Inputs!D{row + 1}", book.formats["money"], cost
            )
    last = _FIRST + len(items)
    sheet.write_string(last, 0, f"Cost ({book.currency})", book.formats["total"])
    for place, value in enumerate([*by_month, total] if months else [], start=2):
        letter = xl_col_to_name(place)
        product = f"SUMPRODUCT({letter}{_FIRST + 1}:{letter}{last},Inputs!$D${_FIRST + 1}:$D${last})"
        formula = f"={product}" if place < 2 + len(months) else f"=SUM({letter}{_FIRST + 1}:{letter}{last})"
        sheet.write_formula(last, place, formula, book.formats["total"], value)
    sheet.protect()


def _total(book: Book, sheet: Worksheet, row: int, first: int, values: list[float]) -> None:
    sheet.write_string(row, 0, "Total", book.formats["total"])
    for place, value in enumerate(values, start=first):
        letter = xl_col_to_name(place)
        sheet.write_formula(
            row, place, f"=SUM({letter}{_FIRST + 1}:{letter}{row})", book.formats["total"], value
        )


def _items(book: Book) -> list[dict[str, Any]]:
    return list(book.table("stock_plan").iter_rows(named=True))


def _year(book: Book) -> pl.DataFrame:
    """Return the items' rows of the first year, of all months where the plan is shorter."""
    rows = book.table("projection")
    if not rows.height:
        return rows
    first = rows.filter(
        pl.col("item_id").is_not_null() & (pl.col("from_month") == pl.col("from_month").min())
    )
    return first.filter(pl.col("to_month") == pl.col("to_month").max())


def _allow_only(sheet: Worksheet, row: int, place: int, least: float, most: float) -> None:
    rule = {"validate": "decimal", "criteria": "between", "minimum": least, "maximum": most}
    words = {"input_title": "Yours to change", "error_message": f"Write a number from {least:g} to {most:g}."}
    sheet.data_validation(row, place, row, place, rule | words)
