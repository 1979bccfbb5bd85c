"""Generate both hospitals: ``python -m synthetic_logs.generate --to DIR``."""

from __future__ import annotations

import argparse
import json
from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import Any

import polars as pl

from synthetic_logs.checks import setup_checks_table
from synthetic_logs.cycles import counters_table, cycles_table, readings_table
from synthetic_logs.exports import finished, write_site
from synthetic_logs.file_slips import plant_in_files
from synthetic_logs.parts import part_changes_table
from synthetic_logs.planting import plant_all
from synthetic_logs.scenario import SITES, TIME_ZONE, Scenario, Site, Unit, fleet, iso
from synthetic_logs.slip_records import Slip, Tables
from synthetic_logs.stays import Course, simulate
from synthetic_logs.stock import items_table, stock_moves_table, ward_census_table
from synthetic_logs.usage import phases_table
from synthetic_logs.visits import scene_of

TRUTH_VERSION = 1


def write_hospitals(
    to: Path,
    *,
    months: int = 18,
    units: int = 60,
    sample_minutes: int = 5,
    seed: int = 20261101,
    first_month: str = "2025-05",
) -> dict[str, Any]:
    """Write a folder of exports and a ``site.toml`` per site, and ``truth.json``; return the truth.

    Same parameters, same bytes. Raises UsageError for parameters that cannot be simulated.
    """
    scenario = Scenario(months, units, sample_minutes, seed, first_month)
    truth: dict[str, Any] = {
        "schema_version": TRUTH_VERSION,
        "parameters": asdict(scenario),
        "sites": {site.site_id: _write_hospital(scenario, site, Path(to)) for site in SITES},
    }
    text = json.dumps(truth, indent=1, ensure_ascii=False) + "\n"
    (Path(to) / "truth.json").write_text(text, encoding="utf-8", newline="\n")
    return truth


def _write_hospital(scenario: Scenario, site: Site, to: Path) -> dict[str, Any]:
    units = fleet(scenario, site)
    course = simulate(scenario, site, units)
    scene = scene_of(scenario, site, units, course)
    tables, planted = plant_all(clean_tables(scenario, site, units, course), scene)
    folder = to / site.site_id
    write_site(finished(tables, scene), scene, folder)
    planted += plant_in_files(folder, scene)
    (folder / "site.toml").write_text(rules_text(site), encoding="utf-8", newline="\n")
    open_legs = [leg for leg in course.legs if leg.ended_at >= scenario.end]
    return {
        "folder": site.site_id,
        "ends_at": iso(scenario.end),
        "open_at_end": len(open_legs),
        "counts": dict(sorted(Counter(slip.slip for slip in planted).items())),
        "slips": [_record(slip) for slip in planted],
    }


def _record(slip: Slip) -> dict[str, Any]:
    """Return a slip for the truth file, without the fields that it has no value for."""
    return {name: value for name, value in asdict(slip).items() if value}


def clean_tables(scenario: Scenario, site: Site, units: tuple[Unit, ...], course: Course) -> Tables:
    """Return what a site without slips would have recorded, and the phases and counters behind it."""
    end, legs = scenario.end, course.legs
    phases = phases_table(scenario, site, legs)
    fitted = part_changes_table(scenario, site, legs, phases)
    cycles = [cycle for cycle in course.cycles if cycle.ended_at < end]
    return {
        "units": _units_table(units),
        "items": items_table(),
        "unit_status": _status_table(course, end),
        "patient_merges": _merges_table(course, end),
        "episodes": _episodes_table(course, end),
        "part_changes": fitted,
        "phases": phases,
        "disinfections": cycles_table(cycles, site, scenario.stream("flags", site.site_id)),
        "counters": counters_table(units, scenario.stream("counters", site.site_id)),
        "count_readings": readings_table(scenario, units, scenario.stream("readings", site.site_id)),
        "setup_checks": setup_checks_table(scenario, site, legs),
        "stock_moves": stock_moves_table(scenario, site, fitted, legs),
        "ward_census": ward_census_table(scenario, site),
    }


def _units_table(units: tuple[Unit, ...]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "unit_id": [unit.unit_id for unit in units],
            "ward": [unit.ward.name for unit in units],
            "in_service_on": [unit.in_service_on for unit in units],
            "retired_on": [unit.retired_on for unit in units],
        },
        schema_overrides={"retired_on": pl.Date},
    )


def _status_table(course: Course, end: int) -> pl.DataFrame:
    rows = [
        (unit, start, stop if stop < end else None, status) for unit, start, stop, status in course.outages
    ]
    schema = {"unit_id": pl.String, "started_at": pl.Int64, "ended_at": pl.Int64, "status": pl.String}
    known = pl.DataFrame(rows, schema=schema, orient="row").filter(pl.col("started_at") < end)
    return known.sort("started_at", "unit_id")


def _merges_table(course: Course, end: int) -> pl.DataFrame:
    schema = {"old_ref": pl.String, "new_ref": pl.String, "merged_at": pl.Int64}
    return pl.DataFrame(course.merges, schema=schema, orient="row").filter(pl.col("merged_at") < end)


def _episodes_table(course: Course, end: int) -> pl.DataFrame:
    """Return the legs as charted by the end of the exports: a patient still on a unit has no end yet."""
    rows = [
        (leg.patient_ref, leg.unit_id, leg.ward, leg.started_at, leg.ended_at if leg.ended_at < end else None)
        for leg in course.legs
    ]
    schema = {
        "patient_ref": pl.String,
        "unit_id": pl.String,
        "ward": pl.String,
        "started_at": pl.Int64,
        "ended_at": pl.Int64,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def rules_text(site: Site) -> str:
    """Return the site's invented rules as ``site.toml``."""
    lines = [
        f"# Invented rules of {site.name}, part of the synthetic logs.",
        f'site_id = "{site.site_id}"',
        f'time_zone = "{TIME_ZONE}"',
        'currency = "EUR"',
    ]
    if site.max_storage_days:
        lines += [
            f"max_storage_days = {site.max_storage_days}",
            "min_cycle_min = 40",
            "turnaround_target_h = 12",
            "",
            "[parts.water_bag]",
            "max_days = 3",
        ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Read the command line and write both hospitals."""
    parser = argparse.ArgumentParser(description="Write the exports of two invented hospitals.")
    parser.add_argument("--to", type=Path, required=True, help="folder to write into")
    parser.add_argument("--months", type=int, default=18)
    parser.add_argument("--units", type=int, default=60)
    parser.add_argument("--sample-minutes", type=int, default=5, choices=(1, 5))
    parser.add_argument("--seed", type=int, default=20261101)
    parser.add_argument("--first-month", default="2025-05")
    write_hospitals(**vars(parser.parse_args()))


if __name__ == "__main__":
    main()
