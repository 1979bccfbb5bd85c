"""Write a site's tables as the plain canonical CSV files: one a month for events, one for each register."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.records import DATE, INSTANT, TABLES
from synthetic_logs.cycles import count_at, temperatures_table
from synthetic_logs.samples import logged_phases, month_samples
from synthetic_logs.scenario import TIME_ZONE
from synthetic_logs.slip_records import Tables
from synthetic_logs.usage import sessions_table
from synthetic_logs.visits import Scene

#: Written whole, not by month.
REGISTERS = ("units", "items", "unit_status", "patient_merges")
MONTHLY = (
    "usage_sessions",
    "episodes",
    "part_changes",
    "disinfections",
    "cycle_temperatures",
    "count_readings",
    "setup_checks",
    "stock_moves",
    "ward_census",
)
#: The one export without offsets: local times, to be read in the zone of the site's rules.
NAIVE = "setup_checks"


def finished(tables: Tables, scene: Scene) -> Tables:
    """Return the canonical tables but samples, from what happened and what was recorded of it."""
    units = scene.units
    readings = tables["count_readings"]
    counted = count_at(readings, "read_at", tables) + readings["misread_by"]
    cycles = tables["disinfections"]
    cycles = cycles.with_columns(count_at(cycles, "ended_at", tables).alias("cycle_count"))
    end = scene.scenario.end
    warm = temperatures_table(cycles, units, scene.scenario.stream("temperatures", scene.site.site_id))
    by_patient, interface = pl.lit(scene.site.charts_by_patient), pl.col("part") == "interface"
    return tables | {
        "count_readings": readings.with_columns(counted.alias("cycle_count")).sort("read_at", "unit_id"),
        "disinfections": cycles.filter("recorded"),
        "cycle_temperatures": warm,
        "usage_sessions": sessions_table(tables["phases"], units).filter(pl.col("ended_at") <= end),
        "part_changes": tables["part_changes"]
        .with_columns(
            pl.when(by_patient | interface).then("patient_ref").alias("patient_ref"),
            pl.when(~(by_patient & interface)).then("unit_id").alias("unit_id"),
        )
        .sort("fitted_at", "unit_id", "part"),
    }


def write_site(tables: Tables, scene: Scene, folder: Path) -> None:
    """Write every file of the site; the folder is made when missing."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in REGISTERS:
        if tables[name].height:
            _write(tables[name], name, scene, folder / f"{name}.csv")
    for name in MONTHLY:
        for month, rows in _by_month(tables[name], name, scene):
            _write(rows, name, scene, folder / f"{name}_{month}.csv")
    phases = logged_phases(tables, scene.units)
    for index, month in enumerate(scene.scenario.month_names[:-1]):
        rows = month_samples(phases, index, scene.scenario, scene.site, scene.units)
        _write(rows, "usage_samples", scene, folder / f"usage_samples_{month}.csv")


def _by_month(rows: pl.DataFrame, name: str, scene: Scene) -> list[tuple[str, pl.DataFrame]]:
    """Return the rows of each local month that has any, by the table's key time."""
    time = TABLES[name].time
    assert time is not None
    scenario, found = scene.scenario, []
    is_day = TABLES[name].column(time).kind == DATE
    for index, month in enumerate(scenario.month_names[:-1]):
        low, high = scenario.edges[index], scenario.edges[index + 1]
        within = (
            pl.col(time).dt.strftime("%Y-%m") == month
            if is_day
            else pl.col(time).is_between(low, high, closed="left")
        )
        chosen = rows.filter(within)
        if chosen.height:
            found.append((month, chosen))
    return found


def _write(rows: pl.DataFrame, name: str, scene: Scene, path: Path) -> None:
    columns = [column for column in TABLES[name].columns if column.name in rows.columns]
    site = [pl.lit(scene.site.site_id).alias("site_id")] if scene.site.states_site else []
    written = rows.select(
        *site,
        *(
            _instant(column.name, name) if column.kind == INSTANT else pl.col(column.name)
            for column in columns
        ),
    )
    zone = "" if name == NAIVE else "Z"
    written.write_csv(path, datetime_format=f"%Y-%m-%dT%H:%M:%S{zone}")


def _instant(column: str, table: str) -> pl.Expr:
    """Return seconds since 1970 UTC as the date and time to be written."""
    instant = pl.from_epoch(pl.col(column), time_unit="s")
    if table != NAIVE:
        return instant
    local = instant.dt.replace_time_zone("UTC").dt.convert_time_zone(TIME_ZONE)
    return local.dt.replace_time_zone(None)
