"""One site's plan: every planning table from its records and what is assumed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

import polars as pl

from pipeline.planning import fleet, projection, shares
from pipeline.planning.assumptions import Assumptions
from pipeline.planning.back_test_table import back_test_table
from pipeline.planning.demand import Demand, closed_wards, demand, stays_by_month
from pipeline.planning.forecast import LEAST_MONTHS
from pipeline.planning.need import stay_pool
from pipeline.planning.notes import notes_table
from pipeline.planning.records import RECENT_MONTHS, SiteRecords, month_after
from pipeline.planning.simulate import BY_RULES, PRACTISED, SUPPLIED, Futures, simulate
from pipeline.planning.stock_checks import Finding, findings_table
from pipeline.planning.stock_plan import stock_tables
from pipeline.site_events import SiteEvent
from pipeline.site_rules import SiteRules

_LONG_AGO = date(1, 1, 1)


@dataclass(frozen=True)
class SitePlan:
    """One site's planning tables, and the few numbers that plans are compared by: (measure, unit) → value."""

    site_id: str
    tables: Mapping[str, pl.DataFrame]
    figures: Mapping[tuple[str, str], float | None]


def site_plan(records: SiteRecords, assumed: Assumptions, months: int) -> SitePlan:
    """Return the plan of the months to come; what the records do not tell is left out with a finding."""
    records = replace(records, rules=_with_closed_wards(assumed))
    pool = stay_pool(records, assumed.rules)
    coming = demand(records, pool, months, assumed.growth)
    futures = simulate(records.site_id, coming.ahead) if coming else None
    wasted = shares.waste(records)
    stocked = stock_tables(records, assumed.items, futures, wasted, assumed.service_level)
    tables = {
        **(_projected(records, assumed, coming, futures) if coming and futures else {}),
        **_fleet(records, assumed),
        "stock_plan": stocked.plan,
        "order_budget": stocked.budget,
        "stock_line": stocked.line,
        "part_waste": wasted,
        "early_changes": shares.early_changes(records),
        "water_practice": shares.water_practice(records),
        "plan_findings": findings_table(
            records.site_id, [*stocked.findings, *_short_history(records, coming)]
        ),
    }
    tables["plan_notes"] = notes_table(records, assumed, coming, tables)
    filled = {name: rows for name, rows in tables.items() if rows.height}
    return SitePlan(records.site_id, filled, dict(_figures(records, assumed, futures, filled)))


def _with_closed_wards(assumed: Assumptions) -> SiteRules:
    """Return the rules with the wards that are tried as closed declared so from the beginning."""
    closed = tuple(SiteEvent("ward_closed", _LONG_AGO, ward=ward) for ward in sorted(assumed.closed))
    kept = tuple(event for event in assumed.rules.events if event.ward not in assumed.closed)
    return replace(assumed.rules, events=(*closed, *kept))


def _projected(
    records: SiteRecords, assumed: Assumptions, coming: Demand, futures: Futures
) -> dict[str, pl.DataFrame]:
    items = assumed.items
    return {
        "projection": projection.projection(records, futures, items, BY_RULES),
        "projection_practised": projection.projection(records, futures, items, PRACTISED),
        "projection_backtest": back_test_table(records, coming.forecast, stays_by_month(records)),
        "activity_projection": projection.activity(records, futures),
        "compliance_cost": projection.compliance_cost(records, futures, items),
    }


def _fleet(records: SiteRecords, assumed: Assumptions) -> dict[str, pl.DataFrame]:
    if not records.months:
        return {}
    closed = closed_wards(records.rules.events, month_after(records.months[-1], 1))
    busiest = fleet.busiest_month(records, closed)
    if busiest is None:
        return {}
    target_h = assumed.rules.turnaround_target_h
    return {
        "fleet_plan": fleet.fleet_plan(records, busiest, target_h, assumed.growth),
        "turnaround_gain": fleet.turnaround_gain(records, busiest, assumed.growth),
    }


def _short_history(records: SiteRecords, coming: Demand | None) -> list[Finding]:
    if coming:
        return []
    words = f"The record of episodes holds {len(records.months)} complete months; a forecast needs {LEAST_MONTHS}."
    return [Finding("short_history", f"{words} Nothing is projected; orders are not proposed.")]


def _figures(
    records: SiteRecords, assumed: Assumptions, futures: Futures | None, tables: Mapping[str, pl.DataFrame]
) -> Iterator[tuple[tuple[str, str], float | None]]:
    currency = assumed.rules.currency or "money"
    if futures is not None:
        year = futures.months[:RECENT_MONTHS]
        span = f"{year[0]} to {year[-1]}"
        yield (f"stays, {span}", "stays"), float(futures.stays[:, : len(year)].sum(axis=1).mean())
        for basis, words in ((BY_RULES, "by the rules"), (SUPPLIED, "to be supplied")):
            for kind, part in sorted(futures.pieces):
                if kind == basis:
                    yield (f"{part} {words}", "pieces"), projection.mean_pieces(futures, basis, part)
    costs = tables.get("compliance_cost")
    if costs is not None:
        for column, words in (("rules_cost", "cost by the rules"), ("practised_cost", "cost as practised")):
            known = costs[column].drop_nulls()
            yield (words, currency), float(known.sum()) if known.len() else None
    if (budget := tables.get("order_budget")) is not None:
        yield ("orders of the months ahead", currency), float(budget["cost"].sum())
    if (plan := tables.get("fleet_plan")) is not None:
        for name in ("observed", "target"):
            load = plan.filter(pl.col("turnaround") == name)["offered_load"][0]
            yield (f"units held, turnaround {name}", "units"), float(load)
            yield (
                (f"units enough, turnaround {name}", "units"),
                float(math.ceil(fleet.units_enough(load, fleet.SHORTAGE))),
            )
