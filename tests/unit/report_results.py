"""Published results made by hand, so that a test of the report states every number that it looks for."""

from __future__ import annotations

import base64
import gzip
import re
from collections.abc import Iterable
from concurrent.futures import Future
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import duckdb
import polars as pl

from pipeline.findings.model import SiteFindings
from pipeline.measures import engine
from pipeline.measures.intervals import wilson_high, wilson_low
from pipeline.measures.published import Published, published_models
from pipeline.records import TABLES, stored_name
from pipeline.signals.control_chart import control_chart
from pipeline.signals.sensitivity import COLUMNS as SENSITIVITY
from pipeline.site_rules import SiteRules, parse_site_rules
from pipeline.store.columns import good_schema
from reports.drawings import Drawings
from reports.drawn import Drawn, Order, draw
from reports.page import render

SITE, MONTH, PARTS = "T", "2026-10", ("circuit", "interface", "water_bag")
AS_OF = datetime(2026, 11, 1)

#: Names that a page must show as they are and never obey.
HOSTILE_WARD = "</script><img src=x onerror=\"alert(1)\"> & 'Ward' ‮dlog"
HOSTILE_UNIT = '=HYPERLINK("x")<b>'

Rows = list[dict[str, Any]]


def page_of(found: SiteFindings) -> str:
    """The site's page with its charts."""
    return render(found, drawn_of(found))


def drawn_of(found: SiteFindings) -> Drawings:
    """The site's charts, drawn at once."""
    drawings = Drawings(_at_once, ZoneInfo(found.time_zone))
    drawings.order_all(found)
    return drawings


def _at_once(order: Order) -> Future[Drawn]:
    drawn: Future[Drawn] = Future()
    drawn.set_result(draw(order))
    return drawn


def rules(text: str = "") -> SiteRules:
    """Rules in UTC, with what the text adds."""
    return parse_site_rules(f'time_zone = "UTC"\n{text}')


@cache
def _empty() -> dict[str, pl.DataFrame]:
    """Return every published table as the models make it of next to no records, without its rows."""
    connection = duckdb.connect()
    engine.add_functions(connection)
    connection.execute("create schema settled")
    for table in TABLES.values():
        columns = [stored_name(column) for column in table.columns]
        nothing = pl.DataFrame(schema=good_schema(table)).select("site_id", *columns)
        if table.name == "count_readings":
            nothing = pl.DataFrame(
                [{"site_id": SITE, "unit_id": "u1", "read_at": AS_OF}], schema=nothing.schema
            )
        connection.register("nothing", nothing)
        connection.execute(f"create table settled.{table.name} as select * from nothing")
        connection.unregister("nothing")
    engine.compute(connection, {SITE: rules()}, AS_OF)
    models = {model.name: model for model in published_models()}
    return {"sensitivity": pl.DataFrame(schema=SENSITIVITY)} | {
        name: pl.DataFrame(connection.sql(f"select * from {model.table}").to_arrow_table())
        .drop(model.hidden)
        .clear()
        for name, model in models.items()
    }


def published(
    folder: Path, tables: dict[str, Rows], text: str = "", sites: Iterable[str] = (SITE,)
) -> Published:
    """Return results that hold these rows; a column that a row leaves out is empty."""
    paths = {}
    folder.mkdir(parents=True, exist_ok=True)
    for name, empty in _empty().items():
        given = [{"site_id": SITE} | row for row in tables.get(name, [])]
        assert all(row.keys() <= empty.schema.keys() for row in given), f"unknown column in {name}"
        frame = pl.DataFrame(given, schema=empty.schema) if given else empty
        paths[name] = folder / f"{name}.parquet"
        frame.write_parquet(paths[name])
    assert tables.keys() <= paths.keys()
    results = Published("run", AS_OF, {site: rules(text) for site in sites}, paths)
    paths["control_chart"] = folder / "control_chart.parquet"
    control_chart(results).write_parquet(paths["control_chart"])
    return results


def months_before(number: int, month: str = MONTH) -> list[str]:
    """Return that many months, the last of them the month given."""
    last = int(month[:4]) * 12 + int(month[5:]) - 1
    return [f"{item // 12}-{item % 12 + 1:02d}" for item in range(last - number + 1, last + 1)]


def shares(
    months: list[str], pairs: list[tuple[int, int]], count: str, total: str, rate: str, **more: Any
) -> Rows:
    """Return the site's rows of a share by month, with its rate and limits."""
    return [
        {
            "ward": "*",
            "month": month,
            count: part,
            total: whole,
            rate: part / whole if whole else None,
            "rate_low": wilson_low(part, whole),
            "rate_high": wilson_high(part, whole),
            **more,
        }
        for month, (part, whole) in zip(months, pairs, strict=True)
    ]


def overruns(pairs: list[tuple[int, int]], part: str = "circuit", ward: str = "*") -> Rows:
    """Return part_overrun_monthly up to the month, the last pair its own; all that were decided were due."""
    found = shares(months_before(len(pairs)), pairs, "overrun", "decided", "overrun_rate", part=part)
    return [row | {"ward": ward, "due": row["decided"]} for row in found]


def changeovers(pairs: list[tuple[int, int]], **more: Any) -> Rows:
    """Return changeover_monthly up to the month; all unprotected ones have no record."""
    found = shares(months_before(len(pairs)), pairs, "unprotected", "changeovers", "unprotected_rate", **more)
    return [row | {"no_record": row["unprotected"]} for row in found]


def changeover_case(number: int, proof: str = "no_record", **more: Any) -> dict[str, Any]:
    """Return one changeover of the month."""
    at = datetime(2026, 10, 2, 8) + timedelta(hours=7 * number)
    return {
        "ward": "Alder",
        "unit_id": f"u{number}",
        "from_patient_key": f"{number:032x}",
        "to_patient_key": f"{number + 1:032x}",
        "from_ended_at": at - timedelta(hours=3),
        "to_started_at": at,
        "gap_h": 3.0,
        "proof": proof,
        **more,
    }


def unpacked(page: str) -> str:
    """Return a page with all that it carries packed, its charts, life lines and long lists, as text."""
    packed = re.findall(r'application/gzip(?:;base64,|" id="\w+">)([A-Za-z0-9+/=]+)', page)
    return "\n".join([page, *(gzip.decompress(base64.b64decode(text)).decode() for text in packed)])


def busy_month() -> dict[str, Rows]:
    """Return 14 months with a case of everything, in a ward and on a unit of hostile names."""
    months, wards = months_before(14), ("*", "Alder", HOSTILE_WARD)
    tables: dict[str, Rows] = {
        "part_overrun_monthly": [
            row
            for part in PARTS
            for ward in wards
            for row in overruns([(2, 100)] * 13 + [(30, 100)], part, ward)
        ],
        "part_cover_monthly": [
            _cover(month, ward, part) for month in months for ward in wards for part in PARTS
        ],
        "fresh_part_monthly": [
            _fresh(month, ward, part) for month in months for ward in wards for part in PARTS
        ],
        "changeover_monthly": [
            row | {"ward": ward} for ward in wards for row in changeovers([(1, 50)] * 13 + [(12, 50)])
        ],
        "changeovers": [
            changeover_case(number, ward=HOSTILE_WARD, unit_id=HOSTILE_UNIT) for number in range(12)
        ],
        "exposure_chains": [_chained(1), _chained(2)],
        "turnarounds": [
            _turnaround(hours, status)
            for hours, status in ((2.0, "reprocessed"), (30.0, "bypassed"), (5.0, "waiting"))
        ],
        "turnaround_monthly": [_turnarounds(month, ward) for month in months for ward in wards],
        "water_monthly": [_water(month, ward) for month in months for ward in wards],
        "powered_run_monthly": [
            {
                "ward": ward,
                "month": month,
                "runs": 9,
                "reached": 9,
                "warmup_median_min": 15.0,
                "warmup_p90_min": 20.0,
                "in_use_before_target_min": 0.0,
                "low_humidity_h": 1.5,
            }
            for month in months
            for ward in wards
        ],
        "setup_monthly": [
            {
                "ward": ward,
                "month": month,
                "step": step,
                "starts": 20,
                "starts_checked": 10,
                "done": 9,
                "done_rate": 0.9,
                "checked_rate": 0.5,
                "rate_low": wilson_low(9, 10),
                "rate_high": wilson_high(9, 10),
            }
            for month in months
            for ward in wards
            for step in ("<i>step</i>", "plain step")
        ],
        "count_check_monthly": [
            {
                "ward": ward,
                "month": month,
                "pairs": 30,
                "agrees": 27,
                "unrecorded": 1,
                "uncounted": 0,
                "rollback": 0,
                "likely_misread": 2,
                "not_assessable": 0,
            }
            for month in months
            for ward in wards
        ],
        "count_checks": [
            {
                "unit_id": HOSTILE_UNIT,
                "from_at": datetime(2026, 10, 3),
                "to_at": datetime(2026, 10, 4, hour),
                "from_count": 5,
                "to_count": 7,
                "expected": 1,
                "counted": 2,
                "verdict": verdict,
            }
            for hour, verdict in enumerate(("unrecorded", "likely_misread", "likely_misread"))
        ],
        "part_use_monthly": [
            {
                "ward": ward,
                "month": month,
                "part": part,
                "stays_started": 20,
                "therapy_days": 55.5,
                "fitted": 30,
                "needed": 28,
                "issued": 33.0,
                "issued_to_fitted": 1.1,
            }
            for month in months
            for ward in wards
            for part in PARTS
        ],
        "rate_monthly": [
            {
                "ward": "*",
                "month": month,
                "therapy_days": 55.5,
                "patient_days": 700,
                "therapy_days_per_1000_patient_days": 79.3,
            }
            for month in months
        ],
        "bag_runs": [
            {
                "unit_id": HOSTILE_UNIT,
                "hung_at": datetime(2026, 10, 5),
                "volume_ml": 2000.0,
                "dry_therapy_min": 90.0,
                "modelled_empty_at": datetime(2026, 10, 6),
                "next_hung_at": None,
            }
        ],
        "fresh_part_checks": [
            {
                "ward": HOSTILE_WARD,
                "unit_id": HOSTILE_UNIT,
                "patient_key": "a" * 32,
                "started_at": datetime(2026, 10, 7),
                "part": "circuit",
                "verdict": "carried_over",
            }
        ],
        "patient_stays": [
            {
                "unit_id": HOSTILE_UNIT,
                "ward": HOSTILE_WARD,
                "stay_no": number,
                "started_at": datetime(2026, 10, 2 * number),
                "ended_at": datetime(2026, 10, 2 * number + 1),
                "patient_key": f"{number:032x}",
                "overlapping": False,
            }
            for number in (1, 2)
        ],
        "disinfection_cycles": [
            {
                "unit_id": HOSTILE_UNIT,
                "started_at": datetime(2026, 10, 20),
                "ended_at": datetime(2026, 10, 20, 1),
                "valid": True,
            }
        ],
        "covered_months": [
            {"table_name": table, "declared": False, "month": month}
            for table in ("episodes", "disinfections")
            for month in months
        ],
    }
    return tables


def _cover(month: str, ward: str, part: str) -> dict[str, Any]:
    return {
        "ward": ward,
        "month": month,
        "part": part,
        "episode_h": 1000.0,
        "in_limit_h": 900.0,
        "over_limit_h": 40.0,
        "carried_over_h": 30.0,
        "undocumented_h": 20.0,
        "not_assessable_h": 10.0,
        "cover_rate": 900 / 990,
    }


def _fresh(month: str, ward: str, part: str) -> dict[str, Any]:
    return {
        "ward": ward,
        "month": month,
        "part": part,
        "starts": 20,
        "fresh": 18,
        "carried_over": 1,
        "no_record": 1,
        "same_patient": 0,
        "undecided": 0,
        "not_assessable": 2,
        "fresh_rate": 0.9,
        "rate_low": wilson_low(18, 20),
        "rate_high": wilson_high(18, 20),
    }


def _chained(position: int) -> dict[str, Any]:
    day = datetime(2026, 10, 2 * position)
    return {
        "unit_id": HOSTILE_UNIT,
        "chain_no": 1,
        "position": position,
        "patient_key": f"{position:032x}",
        "started_at": day,
        "ended_at": day + timedelta(days=1),
    }


def _turnaround(hours: float, status: str) -> dict[str, Any]:
    ended = datetime(2026, 10, 9)
    cycle = {"cycle_started_at": ended + timedelta(hours=1), "reprocessed_at": ended + timedelta(hours=hours)}
    return (cycle if status == "reprocessed" else {}) | {
        "ward": "Alder",
        "unit_id": "u1",
        "ended_at": ended,
        "status": status,
        "turnaround_h": hours,
    }


def _turnarounds(month: str, ward: str) -> dict[str, Any]:
    return {
        "ward": ward,
        "month": month,
        "ended": 3,
        "reprocessed": 1,
        "bypassed": 1,
        "waiting": 1,
        "withdrawn": 0,
        "not_assessable": 0,
        "median_h": 4.0,
        "p90_h": None,
        "within_target": 0.6,
        "wait_median_h": 3.0,
    }


def _water(month: str, ward: str) -> dict[str, Any]:
    return {
        "ward": ward,
        "month": month,
        "therapy_days": 55.5,
        "device_days": 60,
        "bags_hung": 70,
        "water_hung_ml": 140000.0,
        "water_hung_ml_per_therapy_day": 2522.5,
        "water_modelled_ml": 120000.0,
        "water_modelled_ml_per_therapy_day": 2162.2,
        "hung_to_modelled": 1.1667,
        "dry_therapy_min": 90.0,
    }
