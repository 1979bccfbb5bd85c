"""Measured tables of an invented site, each row given in a few words."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl

from pipeline.planning.records import SiteRecords, month_after, site_records
from pipeline.planning.stock import Move
from pipeline.site_rules import parse_site_rules

SITE = "T"
NOW = datetime(2026, 1, 2, tzinfo=UTC)
RULES = 'site_id = "T"\ntime_zone = "UTC"\ncurrency = "EUR"\n'
#: An item whose name a spreadsheet would compute, and one whose zeros must stay.
FORMULA, ZEROS = "=1+2", "00712"
_KINDS: dict[Any, str] = {
    pl.String: "site_id ward unit_id part item_id reason month lot location move_ref kind status table_name",
    pl.Datetime("us"): "started_at ended_at moved_at",
    pl.Date: "expires_on",
    pl.Boolean: "overlapping early",
    pl.Int64: "stay_no stay_s logged_s unlogged_s fitted units_in_service needed stays_started",
}
_COLUMNS = {
    "stay_parts": "ward unit_id stay_no part started_at ended_at overlapping stay_s water_ml logged_s unlogged_s"
    " fitted",
    "fitting_reasons": "month part item_id reason early fitted before_limit_h",
    "purchase_items": "item_id part pack_size unit_price lead_time_days lead_time_sd_days shelf_life_days"
    " min_order_packs",
    "stock_ledger": "move_ref item_id moved_at kind quantity location lot expires_on",
    "covered_months": "table_name month",
    "patient_stays": "started_at",
    "turnarounds": "ended_at status turnaround_h",
    "part_use_monthly": "ward month part stays_started needed fitted issued",
    "water_monthly": "ward month water_modelled_ml water_hung_ml hung_to_modelled",
    "fleet_monthly": "ward month units_in_service mean_in_use mean_waiting",
}
_KIND_OF = {name: kind for kind, names in _KINDS.items() for name in names.split()}

Rows = Iterable[tuple[Any, ...]]


def frame(table: str, rows: Rows) -> pl.DataFrame:
    """Return a measured table of the site from its rows, in the order of the columns above."""
    columns = _COLUMNS[table].split()
    schema = {name: _KIND_OF.get(name, pl.Float64) for name in columns}
    return pl.DataFrame(list(rows), schema, orient="row").select(pl.lit(SITE).alias("site_id"), pl.all())


def site(as_of: str = "2026-07-01 00:00", rules: str = "", **tables: Rows) -> SiteRecords:
    """Return the records of a site whose episodes are covered from the first stay to as_of."""
    instant = datetime.fromisoformat(as_of)
    stays = list(tables.get("stay_parts", ()))
    started = [row[4] for row in stays]
    tables.setdefault("patient_stays", [(instant,) for instant in sorted(set(started))])
    if started:
        first = f"{min(started):%Y-%m}"
        months = [month for number in range(200) if (month := month_after(first, number)) <= as_of[:7]]
        tables.setdefault("covered_months", [("episodes", month) for month in months])
    frames = {name: frame(name, tables.get(name, ())) for name in _COLUMNS}
    parsed = parse_site_rules(f'time_zone = "UTC"\ncurrency = "EUR"\n{rules}')
    return site_records(SITE, parsed, instant, frames)


def stay(
    started_at: str, hours: float = 72, part: str = "circuit", ward: str = "Alder", stay_no: int = 1,
    fitted: int = 1, water_ml: float | None = None, logged_h: float = 0, unlogged_h: float = 0,
) -> tuple[Any, ...]:  # fmt: skip
    """Return one row of stay_parts: an ended stay of some hours on the unit u1."""
    started = datetime.fromisoformat(started_at)
    seconds = round(hours * 3600)
    ended = started + timedelta(seconds=seconds)
    times = (round(logged_h * 3600), round(unlogged_h * 3600))
    return (ward, "u1", stay_no, part, started, ended, False, seconds, water_ml, *times, fitted)


def stays_by_month(
    counts: Iterable[int], first: str = "2025-01", ward: str = "Alder", **more: Any
) -> list[Any]:
    """Return stays on successive days of each month, so many as the month counts."""
    rows = []
    for number, count in enumerate(counts):
        month = month_after(first, number)
        for place in range(count):
            instant = f"{month}-{place % 28 + 1:02d} {place // 28:02d}:00"
            rows.append(stay(instant, ward=ward, stay_no=number * 1000 + place, **more))
    return rows


def move(
    kind: str, quantity: float, on: str, ref: str = "", location: str = "store", expires_on: str | None = None
) -> Move:
    """Return one movement of stock at the start of a day, or at an instant."""
    expires = date.fromisoformat(expires_on) if expires_on else None
    return Move(ref or f"{kind}-{on}", datetime.fromisoformat(on), kind, quantity, location, expires)
