"""What a plan looks like on a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any, Literal

import click
import polars as pl
from rich.console import Console
from rich.table import Table

from pipeline.console import say
from pipeline.findings.cautions import PLANNING
from pipeline.planning.plan import ALL_CHANGES, AS_NOW, Plan, side_by_side

_ORDERS = {
    "item_id": "item",
    "on_hand": "on hand",
    "on_order": "on order",
    "need_per_day": "a day",
    "reorder_point": "order at",
    "order_packs": "packs to order",
    "run_out_p10_on": "out by (1 in 10)",
    "run_out_p50_on": "out by (half)",
}


def plan_document(found: Plan) -> dict[str, Any]:
    """Return a plan as the one JSON document: every planning table, and the cautions."""
    return {
        "as_of": f"{found.as_of.isoformat()}Z",
        "cautions": [PLANNING, *found.cautions],
        "tables": {name: rows.to_dicts() for name, rows in sorted(found.tables.items())},
    }


def show_plan(found: Plan, files: Sequence[Path]) -> None:
    """Print each site's year, orders and findings, and plans side by side where any were tried."""
    console = Console(highlight=False, no_color=True)
    letters = _letters(found)
    for site in sorted(found.sites):
        own = {name: rows.filter(pl.col("site_id") == site) for name, rows in found.tables.items()}
        _show_year(console, site, own, found.sites[site].currency)
        if "stock_plan" in own and own["stock_plan"].height:
            orders = own["stock_plan"].select(list(_ORDERS))
            _show(console, f"{site}: stock in pieces, orders in packs", orders.rename(_ORDERS))
        if "plan_comparison" in own and own["plan_comparison"].height:
            _show(
                console, f"{site}: plans side by side", side_by_side(own["plan_comparison"]).rename(letters)
            )
        for row in own.get("plan_findings", pl.DataFrame()).iter_rows(named=True):
            say(f"{site}: {row['message']}")
    for change, letter in letters.items():
        say(f"{letter}: {change}")
    for caution in (*found.cautions, PLANNING):
        say(caution)
    for path in files:
        click.echo(path)


def _letters(found: Plan) -> dict[str, str]:
    """Return a letter for each change tried, since its name is too long for the head of a column."""
    tried = found.tables.get("plan_comparison", pl.DataFrame({"plan": []}))["plan"].unique(
        maintain_order=True
    )
    changes = [name for name in tried if name not in (AS_NOW, ALL_CHANGES)]
    return {change: chr(ord("A") + place) for place, change in enumerate(changes)}


def _show_year(console: Console, site: str, tables: dict[str, pl.DataFrame], currency: str) -> None:
    projected = tables.get("projection", pl.DataFrame())
    if not projected.height:
        return
    first: str = projected["from_month"].sort()[0]
    longest: str = projected.filter(pl.col("from_month") == first)["to_month"].sort()[-1]
    whole = projected.filter((pl.col("from_month") == first) & (pl.col("to_month") == longest))
    columns = ("part", "item_id", "need_p10", "need_p50", "need_p90", "packs_p50", "cost_p50")
    _show(
        console, f"{site}: need by the rules, {first} to {longest}, cost in {currency}", whole.select(columns)
    )


def _show(console: Console, title: str, rows: pl.DataFrame) -> None:
    numeric = {name for name, kind in rows.schema.items() if kind.is_numeric()}
    table = Table(title=title, box=None, title_justify="left")
    for name in rows.columns:
        side: Literal["left", "right"] = "right" if name in numeric else "left"
        table.add_column(name.replace("_", " "), justify=side, no_wrap=name not in numeric)
    for row in rows.iter_rows():
        table.add_row(*(_shown(cell) for cell in row))
    console.print(table)


def _shown(cell: float | str | date | None) -> str:
    if isinstance(cell, float):
        return f"{cell:,.0f}" if abs(cell) >= 100 or cell == int(cell) else f"{cell:,.1f}"
    return "" if cell is None else str(cell)
