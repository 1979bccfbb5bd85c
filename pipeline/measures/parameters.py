"""What the SQL models are given beside the records: rules, calendar and look-up tables, as the schema `run`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

import duckdb
import polars as pl

from pipeline.measures import calendar, heat_dose, humidity
from pipeline.site_rules import SiteRules

#: Millilitres per minute, times nanograms per litre, times seconds, that make one millilitre of water.
WATER_UNITS_PER_ML = round(humidity.WATER_G_PER_ML * 1e9 * 60_000)

_SETTINGS = """
    select
        site_id, as_of,
        to_seconds(grace_s) as grace,
        to_seconds(charting_slack_s) as charting_slack,
        to_seconds(prep_window_s) as prep_window,
        to_seconds(stay_gap_s) as stay_gap,
        to_seconds(clock_slack_s) as clock_slack,
        to_seconds(max_storage_s) as max_storage,
        to_seconds(max_sample_gap_s) as max_sample_gap,
        uncharted_use_s, turnaround_target_s, min_cycle_s, min_a0_s, hold_centi_c, hold_s,
        require_storage_proof, counter_counts, target_dew_point_c, bag_volume_ml, bag_usable_fraction
    from stated
"""


def create(
    connection: duckdb.DuckDBPyConnection, sites: dict[str, SiteRules], as_of: datetime, first: date
) -> None:
    """Fill the schema `run` for these sites; ``first`` is the earliest day of any record."""
    connection.execute("create schema run")
    connection.register("stated", _frame([_settings(site, rules, as_of) for site, rules in sites.items()]))
    connection.execute(f"create table run.settings as {_SETTINGS}")
    connection.unregister("stated")
    longest = max(
        (part.max_days or 0 for rules in sites.values() for part in rules.parts.values()), default=0
    )
    last = (as_of + timedelta(days=longest + 2)).date()
    _store(connection, "part_rules", (row for site, rules in sites.items() for row in _parts(site, rules)))
    _store(
        connection, "days", (row for site, rules in sites.items() for row in _days(site, rules, first, last))
    )
    _store(
        connection,
        "months",
        (row for site, rules in sites.items() for row in _months(site, rules, first, last)),
    )
    _store(
        connection,
        "declared_months",
        (row for site, rules in sites.items() for row in _declared(site, rules)),
    )
    _store(connection, "water", (row for site, rules in sites.items() for row in _water(site, rules)))
    _store(
        connection,
        "heat",
        ({"temperature_centi_c": centi_c, "dose_ns": dose} for centi_c, dose in heat_dose.heat_lookup()),
    )
    _store(connection, "water_units", [{"per_ml": WATER_UNITS_PER_ML}])


def _settings(site: str, rules: SiteRules, as_of: datetime) -> dict[str, Any]:
    return {
        "site_id": site,
        "as_of": as_of,
        "grace_s": _seconds(rules.grace_h, 3600),
        "charting_slack_s": _seconds(rules.charting_slack_min, 60),
        "prep_window_s": _seconds(rules.prep_window_h, 3600),
        "stay_gap_s": _seconds(rules.stay_gap_h, 3600),
        "clock_slack_s": _seconds(rules.clock_slack_min, 60),
        "max_storage_s": _seconds(rules.max_storage_days, 86400),
        "max_sample_gap_s": _seconds(rules.max_sample_gap_min, 60),
        "uncharted_use_s": _seconds(rules.uncharted_use_min, 60),
        "turnaround_target_s": _seconds(rules.turnaround_target_h, 3600),
        "min_cycle_s": _seconds(rules.min_cycle_min, 60),
        "min_a0_s": rules.min_a0_s,
        "hold_centi_c": _seconds(rules.hold_c, 100),
        "hold_s": _seconds(rules.hold_min, 60),
        "require_storage_proof": rules.require_storage_proof,
        "counter_counts": rules.counter_counts,
        "target_dew_point_c": float(rules.target_dew_point_c),
        "bag_volume_ml": float(rules.bag_volume_ml),
        "bag_usable_fraction": float(rules.bag_usable_fraction),
    }


def _seconds(value: float | None, scale: int) -> int | None:
    """Return a rule in whole small units; None stays None."""
    return None if value is None else round(value * scale)


def _parts(site: str, rules: SiteRules) -> Iterable[dict[str, Any]]:
    for part, rule in sorted(rules.parts.items()):
        yield {
            "site_id": site,
            "part": part,
            "max_days": None if rule.max_days is None else float(rule.max_days),
            "max_s": _seconds(rule.max_days, 86400),
            "per_patient": rule.per_patient,
            "clock": rule.clock,
            "follows": rule.follows,
        }


def _days(site: str, rules: SiteRules, first: date, last: date) -> Iterable[dict[str, Any]]:
    names = ("local_date", "month", "starts_at", "ends_at", "census_at")
    for day in calendar.local_days(rules.zone, first, last, rules.census_time):
        yield {"site_id": site, **dict(zip(names, day, strict=True))}


def _months(site: str, rules: SiteRules, first: date, last: date) -> Iterable[dict[str, Any]]:
    names = ("month_no", "month", "starts_at", "ends_at")
    stated = [date.fromisoformat(f"{month}-01") for months in rules.coverage.values() for month in months]
    for month in calendar.local_months(rules.zone, min([first, *stated]), max([last, *stated])):
        yield {"site_id": site, **dict(zip(names, month, strict=True))}


def _declared(site: str, rules: SiteRules) -> Iterable[dict[str, Any]]:
    for table, months in sorted(rules.coverage.items()):
        for month in months:
            yield {"site_id": site, "table_name": table, "month": month}


def _water(site: str, rules: SiteRules) -> Iterable[dict[str, Any]]:
    for centi_c, ng_per_l in humidity.water_lookup(rules):
        yield {"site_id": site, "dew_point_centi_c": centi_c, "ng_per_l": ng_per_l}


_SCHEMAS: dict[str, dict[str, Any]] = {
    "stated": {
        "min_cycle_s": pl.Int64,
        "max_storage_s": pl.Int64,
        "min_a0_s": pl.Float64,
        "hold_centi_c": pl.Int64,
        "hold_s": pl.Int64,
    },
    "part_rules": {"max_days": pl.Float64, "max_s": pl.Int64},
    "declared_months": {"site_id": pl.String, "table_name": pl.String, "month": pl.String},
}


def _frame(rows: Sequence[dict[str, Any]], name: str = "stated") -> pl.DataFrame:
    known = _SCHEMAS.get(name, {})
    if not rows:
        return pl.DataFrame(schema=known)
    return pl.DataFrame(list(rows), infer_schema_length=None, schema_overrides=known)


def _store(connection: duckdb.DuckDBPyConnection, name: str, rows: Iterable[dict[str, Any]]) -> None:
    connection.register("stated", _frame(list(rows), name))
    connection.execute(f"create table run.{name} as select * from stated")
    connection.unregister("stated")
