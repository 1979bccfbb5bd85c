"""The plan in figures: need with its interval, lines of stock, money by month, shortage by the size of the fleet."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import polars as pl

from pipeline.findings.model import Cell, Column, Figure, Table
from pipeline.findings.months import months_in_words
from pipeline.findings.plan_tables import Plan, currency_of
from pipeline.findings.source import SHOWN_MONTHS, SITE, Source
from pipeline.findings.wording import counted, day_words, part_words, sentence, shown

#: Sizes of the fleet at which more arrivals than this find no unit are not drawn.
_MOST_SHORT = 0.25

#: The shortage that the plan calls enough, as a line.
_ENOUGH = 0.01


def fans(source: Source, plan: Plan) -> tuple[Figure, ...]:
    """Return for each part the need of past months and that of the months to come, the back-test beside."""
    if "projection" not in plan:
        return ()
    whole = plan["projection"].filter(pl.col("item_id").is_null())
    parts = sorted(whole["part"].unique())
    return tuple(_fan(source, plan, part, whole.filter(part=part)) for part in parts)


def _fan(source: Source, plan: Plan, part: str, rows: pl.DataFrame) -> Figure:
    months = rows.filter(pl.col("from_month") == pl.col("to_month")).sort("from_month")
    first = str(months["from_month"][0])
    year: dict[str, Any] = rows.sort("from_month", "to_month", descending=[False, True]).to_dicts()[0]
    past = (
        source.facts("part_use_monthly").filter(pl.col("month") < first, ward=SITE, part=part).sort("month")
    )
    cells: list[tuple[Cell, ...]] = [
        (month, needed, None, None, None)
        for month, needed in past.select("month", "needed").tail(SHOWN_MONTHS).rows()
    ]
    cells += [
        (month, None, low, middle, high)
        for month, low, middle, high in months.select("from_month", "need_p10", "need_p50", "need_p90").rows()
    ]
    name, key = sentence(part_words(part)), f"fan-{part}"
    span = months_in_words((year["from_month"], year["to_month"]))
    low, middle, high = (shown(year[f"need_p{level}"], "count") for level in (10, 50, 90))
    columns = (
        Column("Month", "month"),
        *(Column(word, "count") for word in ("Needed", "Low", "Expected", "High")),
    )
    return Figure(
        key, "fan", f"{name}: {middle} expected to be needed, {low} to {high}",
        f"Pieces a month by the rules; the title is for {span}",
        Table(key, f"{name}: need by month", columns, tuple(cells)), size="third", note=_back_test(plan, part),
    )  # fmt: skip


def _back_test(plan: Plan, part: str) -> str:
    tried = plan.get("projection_backtest")
    chosen = [] if tried is None else tried.filter(pl.col("chosen"), part=part).to_dicts()
    if not chosen or not chosen[0]["folds"]:
        return "The history is too short for a back-test."
    row = chosen[0]
    error = (
        "" if row["mase"] is None else f"error {row['mase']:.2f} times the usual change between months (MASE)"
    )
    inside = (
        ""
        if row["coverage_80"] is None
        else f"{row['coverage_80']:.0%} of months inside the band meant for 80%"
    )
    told = ", ".join(filter(None, (error, inside)))
    return f"{counted(row['folds'], 'back-test')} of {row['method'].replace('_', ' ')}: {told}."


def stock_lines(plan: Plan) -> tuple[Figure, ...]:
    """Return for each item its stock over the past weeks and those to come without a further order."""
    if "stock_line" not in plan:
        return ()
    levels = {row["item_id"]: row for row in plan.get("stock_plan", pl.DataFrame()).to_dicts()}
    lines = plan["stock_line"].sort("part", "item_id", "on")
    items = lines["item_id"].unique(maintain_order=True)
    return tuple(
        _stock_line(number, item, _until_empty(lines.filter(item_id=item)), levels.get(item, {}))
        for number, item in enumerate(items, 1)
    )


def _until_empty(line: pl.DataFrame) -> pl.DataFrame:
    """Leave out the weeks after the first in which nothing is left in nine of ten futures."""
    empty = line.filter(pl.col("pieces_p90") == 0)["on"].min()
    return line if empty is None else line.filter(pl.col("on") <= empty)


def _stock_line(number: int, item: str, rows: pl.DataFrame, levels: Mapping[str, Any]) -> Figure:
    key = f"stock-{number}"
    columns = (
        Column("Day"),
        *(Column(word, "count") for word in ("Pieces", "Low", "High", "Order at")),
    )
    cells = tuple(
        (day.isoformat(), *values)
        for day, *values in rows.select("on", "pieces", "pieces_p10", "pieces_p90", "reorder_point").rows()
    )
    packs = levels.get("order_packs")
    title = (
        "no order due"
        if packs == 0
        else "no order proposed"
        if packs is None
        else f"order {counted(packs, 'pack')}"
    )
    out: date | None = levels.get("run_out_p10_on")
    note = (
        ""
        if out is None
        else f"One future in ten is out of stock by {day_words(out)} without a further order."
    )
    subtitle = (
        f"{sentence(part_words(rows['part'][0]))}, pieces in store by week; then without a further order"
    )
    table = Table(key, f"{item}: stock by week", columns, cells)
    return Figure(key, "stock", f"{item}: {title}", subtitle, table, size="third", note=note)


def budget(source: Source, plan: Plan) -> tuple[Figure, ...]:
    """Return the money that the orders of each month to come take."""
    if "order_budget" not in plan:
        return ()
    sums = plan["order_budget"].group_by("month").agg(pl.col("orders", "cost").sum()).sort("month")
    currency = currency_of(source)
    total = shown(float(sums["cost"].sum()), "count")
    span = months_in_words((sums["month"][0], sums["month"][-1]))
    columns = (Column("Month", "month"), Column("Orders", "count"), Column("Cost", "count"))
    table = Table("budget", f"Orders by month, {currency} before tax", columns, tuple(sums.rows()))
    title = f"{total} {currency} of orders, {span}"
    subtitle = f"Orders by month if demand runs as expected, {currency} before tax"
    return (Figure("budget", "budget", title, subtitle, table),)


def shortage(plan: Plan) -> tuple[Figure, ...]:
    """Return the share of arrivals that find no unit by the size of the fleet, observed and at the target."""
    if "fleet_plan" not in plan:
        return ()
    fleet = plan["fleet_plan"]
    wide = fleet.pivot("turnaround", index=["units", "in_service"], values="shortage_probability").sort(
        "units"
    )
    near = wide.filter(pl.min_horizontal("observed", "target") <= _MOST_SHORT)
    columns = (
        Column("Units", "count"),
        Column("Observed", "share"),
        Column("At the target", "share"),
        Column("Fleet"),
    )
    rows = tuple(
        (units, observed, target, "in service" if serves else "")
        for units, serves, observed, target in near.select("units", "in_service", "observed", "target").rows()
    )
    now = fleet.filter(pl.col("in_service"), turnaround="observed").to_dicts()
    told = "Shortage by size of the fleet"
    if now:
        share = shown(now[0]["shortage_probability"], "share")
        told = f"{counted(now[0]['units'], 'unit')} in service: {share} of arrivals find none in the busiest month"
    subtitle = (
        f"Share of arrivals that find every unit held (Erlang B), {months_in_words((fleet['month'][0],) * 2)}"
    )
    table = Table("shortage", "Shortage by size of the fleet", columns, rows)
    return (Figure("shortage", "shortage", told, subtitle, table, lines=(("1 in 100", _ENOUGH),)),)
