"""Small published tables, made by hand, in the shape in which a run of the measures leaves them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipeline.signals.series import SHARES, Series
from pipeline.site_rules import SiteRules, parse_site_rules

SITE_ID = "T"

#: Columns that the series and cases need, with their types, so that a table may be left empty.
_COLUMNS: dict[str, dict[str, Any]] = {
    "part_cover_monthly": {
        "part": str, "episode_h": float, "in_limit_h": float, "undocumented_h": float, "not_assessable_h": float,
    },
    "part_overrun_monthly": {"part": str, "overrun": int, "due": int},
    "fresh_part_monthly": {"part": str, "fresh": int, "starts": int, "not_assessable": int},
    "changeover_monthly": {"unprotected": int, "changeovers": int, "not_assessable": int},
    "water_monthly": {
        "water_hung_ml": float, "therapy_days": float, "water_modelled_ml": float, "hung_to_modelled": float,
        "water_modelled_ml_per_therapy_day": float, "dry_therapy_min": float,
    },
    "setup_monthly": {"step": str, "done": int, "starts_checked": int, "starts": int},
    "count_check_monthly": {"pairs": int, "agrees": int, "not_assessable": int},
    "turnarounds": {
        "unit_id": str, "patient_key": str, "ended_at": datetime, "cycle_started_at": datetime,
        "reprocessed_at": datetime, "next_started_at": datetime, "status": str, "turnaround_h": float,
        "wait_h": float,
    },
    "therapy_days": {
        "unit_id": str, "local_date": date, "basis": str, "therapy_h": float, "mean_flow_l_min": float,
        "water_modelled_ml": float, "low_humidity_h": float,
    },
    "bag_runs": {"unit_id": str, "hung_at": datetime, "volume_ml": float},
    "powered_runs": {
        "unit_id": str, "powered_at": datetime, "ended_at": datetime, "first_dew_point_c": float,
        "target_reached_at": datetime, "in_use_before_target_min": float,
    },
    "changeovers": {"unit_id": str, "to_started_at": datetime, "proof": str},
    "fresh_part_checks": {"unit_id": str, "part": str, "started_at": datetime, "verdict": str},
    "part_spans": {
        "unit_id": str, "part": str, "fitted_at": datetime, "decided_at": datetime, "outcome": str, "due": bool,
    },
}  # fmt: skip


@dataclass(frozen=True)
class Results:
    """Stands for a published run: what `signals` asks of one."""

    sites: dict[str, SiteRules]
    as_of: datetime
    tables: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    def read(self, table: str) -> pl.DataFrame:
        is_monthly = table.endswith("_monthly")
        schema = (
            {"site_id": str, "ward": str} | ({"month": str} if is_monthly else {}) | _COLUMNS.get(table, {})
        )
        known = {"site_id": SITE_ID} | ({"ward": "*"} if is_monthly else {})
        rows = [known | row for row in self.tables.get(table, [])]
        return pl.DataFrame([{name: row.get(name) for name in schema} for row in rows], schema=schema)


def results(rules: str = "", as_of: str = "2026-12-31", **tables: list[dict[str, Any]]) -> Results:
    stated = rules if "time_zone" in rules else f'time_zone = "UTC"\n{rules}'
    return Results({SITE_ID: parse_site_rules(stated)}, datetime.fromisoformat(as_of), tables)


def rules_of(text: str = "") -> SiteRules:
    return parse_site_rules(f'time_zone = "UTC"\n{text}')


def months(count: int, first: int = 2025 * 12) -> tuple[str, ...]:
    return tuple(f"{number // 12:04d}-{number % 12 + 1:02d}" for number in range(first, first + count))


def series(
    counts: list[float], totals: list[float], kind: str = SHARES, measure: str = "turnaround"
) -> Series:
    return Series(SITE_ID, "*", measure, kind, "higher", months(len(counts)), tuple(counts), tuple(totals))


def day(number: float) -> datetime:
    return datetime(2026, 1, 1) + timedelta(days=number)
