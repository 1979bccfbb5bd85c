"""The plan in tables: next orders, what full compliance costs, waste, early changes, assumptions and findings."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipeline.findings.model import Table
from pipeline.findings.source import Source, as_table
from pipeline.findings.wording import day_words

#: The planning tables of one site by name; those without rows are left out.
Plan = Mapping[str, pl.DataFrame]
Columns = dict[str, tuple[str, str]]

_ORDERS: Columns = {
    "item_id": ("Item", "unit"), "part": ("Part", "part"), "on_hand": ("In store", "count"),
    "on_order": ("On order", "count"), "need_per_day": ("Need a day", "number"),
    "lead_time_days": ("Lead time, days", "number"), "reorder_point": ("Order at", "count"),
    "order_up_to": ("Up to", "count"), "order_packs": ("Packs to order", "count"),
    "run_out_p10_on": ("Out by (1 in 10)", "day"), "run_out_p50_on": ("Out by (half)", "day"),
    "expiring_unused": ("Will expire unused", "count"),
}  # fmt: skip
_COMPLIANCE: Columns = {
    "part": ("Part", "part"), "item_id": ("Item", "unit"), "rules_pieces": ("By the rules", "count"),
    "practised_pieces": ("As practised", "count"), "added_pieces": ("Added by full compliance", "count"),
    "rules_cost": ("Cost by the rules", "count"), "practised_cost": ("Cost as practised", "count"),
    "added_cost": ("Cost added", "count"),
}  # fmt: skip
_WASTE: Columns = {
    "part": ("Part", "part"), "needed": ("Needed", "count"), "fitted": ("Fitted", "count"),
    "issued": ("Issued", "count"), "issued_to_fitted": ("Issued to fitted", "ratio"),
}  # fmt: skip
_EARLY: Columns = {
    "part": ("Part", "part"), "reason": ("Recorded reason", "part"), "changes": ("Changed before the limit", "count"),
    "mean_before_limit_h": ("Mean time left", "hours"),
}  # fmt: skip
_BACK_TESTS: Columns = {
    "part": ("Of", "part"), "method": ("Method", "part"), "folds": ("Back-tests", "count"), "mase": ("MASE", "ratio"),
    "pinball_loss": ("Pinball loss", "number"), "coverage_80": ("Inside the 80% band", "share"),
    "chosen": ("Taken", "text"),
}  # fmt: skip
_GAIN: Columns = {
    "faster_h": ("Faster by, hours", "count"), "offered_load": ("Units held on average", "number"),
    "units_enough": ("Units enough", "count"), "units_freed": ("Units freed", "count"),
}  # fmt: skip
_NOTES: Columns = {"topic": ("About", "text"), "note": ("What the plan takes for granted, or found", "words")}
_FINDINGS: Columns = {"message": ("What to look at", "words")}


def plan_tables(source: Source, plan: Plan) -> tuple[Table, ...]:
    """Return the tables of a plan, in the order in which a buyer reads them."""
    money = f"one year, cost in {currency_of(source)} before tax"
    wanted = (
        ("stock_plan", "orders", "Next orders, stock in pieces", _ORDERS, False),
        ("plan_findings", "plan-findings", "What the plan found in the records", _FINDINGS, False),
        ("compliance_cost", "compliance", f"What full compliance would add, {money}", _COMPLIANCE, False),
        ("part_waste", "waste", "Issued beside fitted, the last twelve months", _WASTE, False),
        ("early_changes", "early", "Parts changed before their limit, by recorded reason, the last twelve months",
         _EARLY, True),
        ("projection_backtest", "back-tests", "How each method did in back-tests", _BACK_TESTS, True),
        ("turnaround_gain", "gain", "Units freed by faster turnaround in the busiest month", _GAIN, True),
        ("plan_notes", "plan-notes", "What the plan rests on", _NOTES, False),
    )  # fmt: skip
    return tuple(
        as_table(_in_words(plan[name]), key, caption, columns, folded=folded)
        for name, key, caption, columns, folded in wanted
        if name in plan
    )


def currency_of(source: Source) -> str:
    """Return what prices are in, as the site's rules name it."""
    return source.rules.currency or "the site's currency"


def _in_words(rows: pl.DataFrame) -> pl.DataFrame:
    """Write days and choices as words; '*' in place of a part stands for the stays."""
    days = [name for name, kind in rows.schema.items() if kind == pl.Date]
    changed = [
        pl.Series(name, [None if day is None else day_words(day) for day in rows[name]], pl.String)
        for name in days
    ]
    if "chosen" in rows.columns:
        changed.append(
            pl.Series("chosen", ["taken" if chosen else "" for chosen in rows["chosen"]], pl.String)
        )
    if "part" in rows.columns:
        changed.append(rows["part"].replace({"*": "stays"}))
    return rows.with_columns(changed)
