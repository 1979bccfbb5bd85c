"""The section for purchasing: what the standing plan says of parts, orders, money and fleet, or that there is none."""

from __future__ import annotations

import polars as pl

from pipeline.findings.cautions import PLANNING
from pipeline.findings.model import LOOK, PURCHASING, Attention, Section
from pipeline.findings.plan_figures import budget, fans, shortage, stock_lines
from pipeline.findings.plan_tables import Plan, plan_tables
from pipeline.findings.source import Source
from pipeline.findings.wording import counted, listed

_NO_PLAN = (
    "No plan stands for these results. 'dewledger plan' makes one from them: parts, orders, money and fleet for the "
    "year to come."
)


def own_plan(source: Source, plan: Plan) -> Plan:
    """Return the site's rows of the planning tables."""
    own = {name: rows.filter(site_id=source.site_id) for name, rows in plan.items()}
    return {name: rows for name, rows in own.items() if rows.height}


def purchasing(source: Source, plan: Plan) -> Section:
    """Return the plan of the site, from its own tables; a sentence where there is none."""
    told = (PLANNING,) if plan else (_NO_PLAN, PLANNING)
    return Section(
        key="plan",
        model="",
        title="Planning the year to come",
        question="What will be needed, when is it to be ordered, what does it cost, and are the units enough?",
        reader=PURCHASING,
        paragraphs=told,
        caveats=(
            "a plan rests on what was measured up to its own date, and on stays to come being like those that were",
            "the makers' instructions and the site's limits say when a part is changed, and a plan never does",
        ),
        figures=(*fans(source, plan), *stock_lines(plan), *budget(source, plan), *shortage(plan)),
        tables=plan_tables(source, plan) if plan else (),
    )


def to_order(plan: Plan) -> list[Attention]:
    """Return what the buyer should look at first: items to order now, and records of stock that contradict."""
    stock = plan.get("stock_plan", pl.DataFrame({"item_id": [], "order_packs": []}))
    due = stock.filter(pl.col("order_packs") > 0).sort("item_id")
    found = []
    if due.height:
        packs = [
            f"{item} ({counted(number, 'pack')})"
            for item, number in due.select("item_id", "order_packs").rows()
        ]
        evidence = f"By the plan: {listed(packs)}. {PLANNING}"
        found.append(
            Attention(LOOK, f"{counted(due.height, 'item')} to order now", evidence, PURCHASING, "plan")
        )
    if "plan_findings" in plan:
        messages = plan["plan_findings"]["message"].to_list()
        headline = f"{counted(len(messages), 'matter')} in the records that planning rests on"
        evidence = f"The first: {messages[0]} All are listed with the plan."
        found.append(Attention(LOOK, headline, evidence, PURCHASING, "plan"))
    return found
