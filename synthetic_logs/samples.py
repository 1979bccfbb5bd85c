"""Samples: the phases of a month spread over each unit's own grid of instants, with noise."""

from __future__ import annotations

import numpy as np
import polars as pl

from synthetic_logs.scenario import MINUTE, Scenario, Site, Unit
from synthetic_logs.usage import PHASES

#: Each unit samples so much later than the one before it in the fleet.
GRID_SHIFT_S = 37
SET_POINT_C, COLD_C, WARMING_S = 37.0, 30.0, 6.5 * MINUTE
_PHASE_NAMES = ("off", "heating", "standby", "in_use", "reprocessing")


def first_sample_at(unit_number: int, instant: int, scenario: Scenario) -> int:
    """Return the unit's first instant of sampling at or after the given one."""
    step = scenario.sample_minutes * MINUTE
    offset = (unit_number * GRID_SHIFT_S + 11) % step
    return offset + -(-(instant - offset) // step) * step


def logged_phases(tables: dict[str, pl.DataFrame], units: tuple[Unit, ...]) -> pl.DataFrame:
    """Return the phases, with reprocessing, of the units that log samples; ``unit`` is its number."""
    fleet = pl.DataFrame(
        {
            "unit_id": [unit.unit_id for unit in units],
            "unit": np.arange(len(units)),
            "logs": [unit.logs_samples for unit in units],
            "set_point": [unit.logs_set_point for unit in units],
        }
    )
    cycles = tables["disinfections"].select(
        pl.lit(-1, pl.Int64).alias("leg"),
        "unit_id",
        pl.lit("reprocessing").alias("phase"),
        "started_at",
        "ended_at",
        pl.col("started_at").alias("powered_at"),
        pl.lit(0.0).alias("flow_l_min"),
        pl.lit(21, pl.Int64).alias("oxygen_pct"),
        pl.lit(0.0).alias("cooler_c"),
        pl.lit(0, pl.Int64).alias("clock_ahead_s"),
    )
    together = pl.concat([tables["phases"].select(*PHASES), cycles])
    return together.join(fleet.filter("logs"), on="unit_id").sort("unit", "started_at", "phase")


def month_samples(
    phases: pl.DataFrame, month: int, scenario: Scenario, site: Site, units: tuple[Unit, ...]
) -> pl.DataFrame:
    """Return the month's samples, by unit and time, in the canonical columns (instants in seconds)."""
    low, high = scenario.edges[month], scenario.edges[month + 1]
    chosen = phases.filter(pl.col("ended_at") > low, pl.col("started_at") < high)
    step = scenario.sample_minutes * MINUTE
    unit = chosen["unit"].to_numpy()
    ahead = chosen["clock_ahead_s"].to_numpy()
    offset = (unit * GRID_SHIFT_S + 11) % step - ahead
    first = -(-(np.maximum(chosen["started_at"].to_numpy(), low - ahead) - offset) // step)
    last = -(-(np.minimum(chosen["ended_at"].to_numpy(), high - ahead) - offset) // step)
    counts = np.maximum(last - first, 0)
    row = np.repeat(np.arange(len(counts)), counts)
    within = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
    true_at = offset[row] + (first[row] + within) * step
    generator = scenario.stream("samples", site.site_id, scenario.month_names[month])
    return _values(chosen, row, true_at, true_at + ahead[row], units, generator)


def _values(
    phases: pl.DataFrame,
    row: np.ndarray,
    true_at: np.ndarray,
    logged_at: np.ndarray,
    units: tuple[Unit, ...],
    generator: np.random.Generator,
) -> pl.DataFrame:
    phase = phases["phase"].cast(pl.Enum(_PHASE_NAMES)).gather(row)
    idle = phases["phase"].is_in(["off", "reprocessing"]).to_numpy()[row]
    since_s = true_at - phases["powered_at"].to_numpy()[row]
    warm_c = SET_POINT_C - (SET_POINT_C - COLD_C) * np.exp(-since_s / WARMING_S)
    noise_c = np.clip(0.15 * generator.standard_normal(len(row), dtype=np.float32), -0.35, 0.35)
    dew_point_c = warm_c - phases["cooler_c"].to_numpy()[row] + noise_c
    flow = phases["flow_l_min"].to_numpy()[row] + 0.4 * generator.standard_normal(len(row), dtype=np.float32)
    empty = pl.lit(None)
    return pl.DataFrame(
        {
            "unit_id": phases["unit_id"].cast(pl.Enum([unit.unit_id for unit in units])).gather(row),
            "sampled_at": logged_at,
            "flow_l_min": np.where(idle, 0, np.clip(flow, 2, 60)),
            "dew_point_c": dew_point_c,
            "oxygen_pct": phases["oxygen_pct"].gather(row),
            "phase": phase,
            "set_dew_point_c": np.full(len(row), SET_POINT_C),
            "idle": idle,
            "set_point": phases["set_point"].gather(row),
        }
    ).select(
        "unit_id",
        "sampled_at",
        pl.col("flow_l_min").round(1),
        pl.when(pl.col("idle")).then(empty).otherwise(pl.col("dew_point_c").round(1)).alias("dew_point_c"),
        pl.when(pl.col("idle")).then(empty).otherwise(pl.col("oxygen_pct")).alias("oxygen_pct"),
        "phase",
        pl.when(pl.col("set_point") & ~pl.col("idle"))
        .then("set_dew_point_c")
        .otherwise(empty)
        .alias("set_dew_point_c"),
    )
