"""Disinfection cycles, the units' own counts of them, readings of those counts and temperatures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from synthetic_logs.scenario import DAY, HOUR, MINUTE, Scenario, Site, Unit, Ward


@dataclass(frozen=True)
class Cycle:
    """One disinfection cycle; ``refresh`` marks one run only because storage had lasted too long."""

    unit_id: str
    started_at: int
    ended_at: int
    outcome: str = "passed"
    refresh: bool = False


def whole_minute(instant: float) -> int:
    """Return the instant cut to its minute."""
    return int(instant) // MINUTE * MINUTE


def full_cycle(
    unit_id: str, started_at: float, generator: np.random.Generator, refresh: bool = False
) -> Cycle:
    """Return a passed cycle of about 56 minutes."""
    start = whole_minute(started_at)
    return Cycle(unit_id, start, start + MINUTE * int(generator.integers(54, 59)), refresh=refresh)


def reprocess(
    scenario: Scenario, unit_id: str, ward: Ward, ended_at: int, generator: np.random.Generator
) -> tuple[Cycle, ...]:
    """Return the cycles after a stay: one that passes, now and then after one that did not."""
    wait_h = float(np.clip(ward.wait_h * np.exp(0.6 * generator.standard_normal()), 0.4, 20))
    spoils, minutes, pause = generator.random(), generator.integers(12, 50), generator.integers(30, 90)
    last = full_cycle(unit_id, ended_at + wait_h * HOUR, generator)
    if spoils > 0.025:
        return (last,)
    started_at = last.started_at
    again = full_cycle(unit_id, started_at + int(minutes + pause) * MINUTE, generator)
    if scenario.month_of(started_at) != scenario.month_of(again.started_at):
        return (last,)
    outcome = "failed" if spoils < 0.015 else "interrupted"
    return (Cycle(unit_id, started_at, started_at + int(minutes) * MINUTE, outcome), again)


def cycles_table(cycles: list[Cycle], site: Site, generator: np.random.Generator) -> pl.DataFrame:
    """Return one row per cycle; ``recorded`` says whether the record reached the exports."""
    ordered = sorted(cycles, key=lambda cycle: (cycle.started_at, cycle.unit_id))
    flags = generator.random((len(ordered), 2)) < 0.95
    return pl.DataFrame(
        {
            "unit_id": [cycle.unit_id for cycle in ordered],
            "cycle_ref": [f"{site.letter}D{number:06d}" for number in range(1, len(ordered) + 1)],
            "started_at": [cycle.started_at for cycle in ordered],
            "ended_at": [cycle.ended_at for cycle in ordered],
            "outcome": [cycle.outcome for cycle in ordered],
            "storage_protected": flags[:, 0],
            "status_tagged": flags[:, 1],
            "recorded": np.ones(len(ordered), dtype=bool),
        },
        schema_overrides={"started_at": pl.Int64, "ended_at": pl.Int64},
    )


def readings_table(
    scenario: Scenario, units: tuple[Unit, ...], generator: np.random.Generator
) -> pl.DataFrame:
    """Return the weekly readings of each unit's count: when, and by how much the reader erred (0)."""
    rows = []
    weeks = (scenario.end - scenario.start) // (7 * DAY) + 1
    for unit in units:
        minutes, kept = generator.integers(0, 240, weeks), generator.random(weeks) < 0.9
        for week in range(weeks):
            read_at = scenario.start + week * 7 * DAY + 7 * HOUR + int(minutes[week]) * MINUTE
            in_service = unit.available_from <= read_at < min(unit.available_to, scenario.end)
            if in_service and (kept[week] or week == 0):
                rows.append((unit.unit_id, read_at, 0))
    schema = {"unit_id": pl.String, "read_at": pl.Int64, "misread_by": pl.Int64}
    return pl.DataFrame(rows, schema=schema, orient="row")


def counters_table(units: tuple[Unit, ...], generator: np.random.Generator) -> pl.DataFrame:
    """Return what each unit's counter stood at in the beginning; a later row is a counter set back."""
    counts = generator.integers(80, 640, len(units))
    return pl.DataFrame(
        {"unit_id": [unit.unit_id for unit in units], "from_at": [0] * len(units), "shift": counts},
        schema_overrides={"from_at": pl.Int64, "shift": pl.Int64},
    )


def count_at(observed: pl.DataFrame, instant: str, tables: dict[str, pl.DataFrame]) -> pl.Series:
    """Return the unit's count at each row's ``instant``: cycles passed by then, recorded or not, shifted."""
    passed = tables["disinfections"].filter(pl.col("outcome") == "passed")
    steps = pl.concat(
        [
            passed.select("unit_id", pl.col("ended_at").alias("known_at"), pl.lit(1, pl.Int64).alias("rise")),
            tables["counters"].select(
                "unit_id", pl.col("from_at").alias("known_at"), pl.col("shift").alias("rise")
            ),
        ]
    ).sort("known_at", "unit_id")
    counts = steps.select(
        "unit_id", "known_at", pl.col("rise").cum_sum().over("unit_id").alias("cycle_count")
    )
    asked = (
        observed.select("unit_id", pl.col(instant).alias("known_at"))
        .with_row_index("row")
        .sort("known_at", "row")
    )
    known = asked.join_asof(counts, on="known_at", by="unit_id", strategy="backward", check_sortedness=False)
    return known.sort("row")["cycle_count"]


def temperatures_table(
    cycles: pl.DataFrame, units: tuple[Unit, ...], generator: np.random.Generator
) -> pl.DataFrame:
    """Return one reading a minute within the cycles of the units that log them: up to some 90 °C and down."""
    logging = [unit.unit_id for unit in units if unit.logs_temperatures]
    chosen = cycles.filter(pl.col("unit_id").is_in(logging))
    starts = chosen["started_at"].to_numpy()
    minutes = (chosen["ended_at"].to_numpy() - starts) // MINUTE
    row = np.repeat(np.arange(len(starts)), minutes)
    minute = np.arange(len(row)) - np.repeat(np.cumsum(minutes) - minutes, minutes)
    plateau = (89.5 + generator.normal(0, 0.6, len(starts)))[row]
    warming = 28 + (plateau - 28) * np.minimum(minute / 18, 1)
    cooling = np.maximum(minute - 42, 0) * 3.0
    celsius = warming - cooling + generator.normal(0, 0.2, len(row))
    return pl.DataFrame(
        {
            "unit_id": chosen["unit_id"].gather(row),
            "measured_at": starts[row] + minute * MINUTE,
            "temperature_c": np.round(celsius, 1),
        }
    )


def first_cycles(
    scenario: Scenario, units: tuple[Unit, ...], generator: np.random.Generator
) -> dict[str, Cycle]:
    """Return the cycle that each unit comes into use with, on the morning of its first day."""
    hours = generator.uniform(6, 11, len(units))
    return {
        unit.unit_id: full_cycle(unit.unit_id, unit.available_from + hour * HOUR, generator)
        for unit, hour in zip(units, hours, strict=True)
    }
