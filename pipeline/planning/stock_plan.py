"""The stock tables of one site: levels and orders by item, the orders of the coming year, lines of stock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pipeline.planning import stock
from pipeline.planning.item_plan import ItemPlan
from pipeline.planning.projection import Item, item_pieces
from pipeline.planning.records import SiteRecords
from pipeline.planning.reorder import Values
from pipeline.planning.shares import issue_factor
from pipeline.planning.simulate import Futures
from pipeline.planning.stock_checks import Finding, item_findings, record_findings, suspected_unit_errors

_PIECES = (
    "on_hand", "usable", "on_order", "expiring_unused", "need_per_day", "need_per_day_sd", "lead_time_days",
    "lead_time_sd_days", "safety_stock", "reorder_point", "order_up_to", "safety_stock_classical",
    "reorder_point_classical", "expected_shortage", "pack_size", "unit_price", "shelf_life_days",
)  # fmt: skip
STOCK_PLAN = pl.Schema(
    {
        **dict.fromkeys(("site_id", "item_id", "part"), pl.String),
        **dict.fromkeys(_PIECES, pl.Float64),
        **dict.fromkeys(("run_out_p10_on", "run_out_p50_on"), pl.Date),
        "order_packs": pl.Int64,
        "min_order_packs": pl.Int64,
        "interval_days": pl.Int64,
    }
)
ORDER_BUDGET = pl.Schema(
    {
        **dict.fromkeys(("site_id", "item_id", "part", "month"), pl.String),
        "orders": pl.Int64,
        "order_packs": pl.Int64,
        "cost": pl.Float64,
    }
)
_LINE = ("pieces", "pieces_p10", "pieces_p90", "reorder_point")
STOCK_LINE = pl.Schema(
    {
        **dict.fromkeys(("site_id", "item_id", "part"), pl.String),
        "on": pl.Date,
        **dict.fromkeys(_LINE, pl.Float64),
    }
)


@dataclass(frozen=True)
class StockTables:
    """Rows for the three tables, and what was found on the way."""

    plan: pl.DataFrame
    budget: pl.DataFrame
    line: pl.DataFrame
    findings: tuple[Finding, ...]


def stock_tables(
    records: SiteRecords, items: Sequence[Item], futures: Futures | None, wasted: pl.DataFrame, level: float
) -> StockTables:
    """Return the stock tables; without futures only what is in store and on its way."""
    moves = stock.moves_by_item(records.tables["stock_ledger"])
    findings = record_findings(records, items, moves)
    plan, budget, line = [], [], []
    for item in items:
        if item.item_id not in moves:
            continue
        errors = suspected_unit_errors(moves[item.item_id], item.pack_size)
        findings += [
            Finding("unit_error", f"{item.item_id}: {words}", item.item_id, item.part)
            for words in errors.values()
        ]
        clean = tuple(move for move in moves[item.item_id] if move.move_ref not in errors)
        findings += item_findings(item, clean, records)
        if not any(move.kind in ("receipt", "count") for move in clean):
            continue
        one = ItemPlan(records, item, clean, _used_by(records, item, futures, wasted), level)
        plan.append(one.row())
        budget += one.budget_rows()
        line += one.line_rows()
        findings += one.findings()
    return StockTables(
        pl.DataFrame(plan, STOCK_PLAN),
        pl.DataFrame(budget, ORDER_BUDGET),
        pl.DataFrame(line, STOCK_LINE),
        tuple(findings),
    )


def _used_by(
    records: SiteRecords, item: Item, futures: Futures | None, wasted: pl.DataFrame
) -> Values | None:
    """Return futures × days: the pieces of an item that leave the stores within n days of as_of."""
    if futures is None or item.part not in futures.supply:
        return None
    split = item_pieces(records, item.part, futures.supply[item.part], "days")
    if item.item_id not in split:
        return None
    first = date.fromisoformat(f"{futures.months[0]}-01")
    daily = split[item.item_id][:, max((records.as_of_day - first).days + 1, 0) :]
    used = np.cumsum(daily, axis=1) * issue_factor(wasted, item.part)
    return np.concatenate([np.zeros((len(used), 1)), used], axis=1)
