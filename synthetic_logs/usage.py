"""What a unit does while powered, as phases: warming up, therapy at some flow, pauses, and off again."""

from __future__ import annotations

import numpy as np
import polars as pl

from synthetic_logs.scenario import HOUR, MINUTE, Scenario, Site, Unit
from synthetic_logs.stays import Leg

#: Water per litre of gas at 37 °C, saturated: about 43.9 mg, in millilitres of water.
ML_PER_LITRE = 0.0442
STANDBY_AFTER_S = 8 * MINUTE

#: One row per phase; ``powered_at`` is when the run began, from which the warm-up counts; ``cooler_c`` is how
#: far the dew point lies below its target.
PHASES = {
    "leg": pl.Int64,
    "unit_id": pl.String,
    "phase": pl.String,
    "started_at": pl.Int64,
    "ended_at": pl.Int64,
    "powered_at": pl.Int64,
    "flow_l_min": pl.Float64,
    "oxygen_pct": pl.Int64,
    "cooler_c": pl.Float64,
    "clock_ahead_s": pl.Int64,
}


def phases_table(scenario: Scenario, site: Site, legs: list[Leg]) -> pl.DataFrame:
    """Return the phases of every leg, by leg and time; ``leg`` is its number in ``legs``."""
    generator = scenario.stream("usage", site.site_id)
    runs = [_leg_phases(number, leg, generator, scenario.sample_minutes) for number, leg in enumerate(legs)]
    together = {name: [value for run in runs for value in run[name]] for name in PHASES}
    return pl.DataFrame(together, schema=PHASES)


def _leg_phases(
    number: int, leg: Leg, generator: np.random.Generator, sample_minutes: int
) -> dict[str, list]:
    """Return one leg's phases: flow falls in steps as the patient mends; some steps end in a pause."""
    length_s = leg.ended_at - leg.started_at
    steps = max(int(length_s / (9 * HOUR)) + 1, 2)
    share = np.cumsum(generator.gamma(4, 1, steps))
    bounds = leg.started_at + np.round(share / share[-1] * length_s).astype(np.int64)
    starts = np.concatenate([[leg.started_at], bounds[:-1]])
    pause_s = generator.integers(15, 50, steps) * MINUTE * (generator.random(steps) < 0.5)
    pause_s = np.where(pause_s < (bounds - starts) / 3, pause_s, 0)
    flow = np.linspace(generator.uniform(35, 58), generator.uniform(18, 32), steps) + generator.normal(
        0, 2, steps
    )
    oxygen = np.linspace(generator.uniform(35, 70), generator.uniform(23, 34), steps)
    rows = [("heating", leg.started_at - int(generator.integers(30, 50)) * MINUTE, leg.started_at, 0)]
    for step in range(steps):
        pause = int(pause_s[step]) if step < steps - 1 else 0
        rows.append(("in_use", int(starts[step]), int(bounds[step]) - pause, step))
        if pause:
            rows.append(("standby", int(bounds[step]) - pause, int(bounds[step]), step))
    off_at = leg.ended_at + STANDBY_AFTER_S
    rows += [
        ("standby", leg.ended_at, off_at, steps - 1),
        ("off", off_at, off_at + sample_minutes * MINUTE, steps - 1),
    ]
    return run_of_phases(number, leg.unit_id, rows, np.clip(flow, 15, 60), oxygen)


def run_of_phases(
    leg: int, unit_id: str, rows: list[tuple[str, int, int, int]], flow: np.ndarray, oxygen: np.ndarray
) -> dict[str, list]:
    """Return the columns of one powered run from (phase, start, end, position in ``flow`` and ``oxygen``)."""
    names, starts, ends, steps = zip(*rows, strict=True)
    return {
        "leg": [leg] * len(rows),
        "unit_id": [unit_id] * len(rows),
        "phase": list(names),
        "started_at": list(starts),
        "ended_at": list(ends),
        "powered_at": [starts[0]] * len(rows),
        "flow_l_min": [round(float(flow[step]), 1) for step in steps],
        "oxygen_pct": [round(float(oxygen[step])) for step in steps],
        "cooler_c": [0.0] * len(rows),
        "clock_ahead_s": [0] * len(rows),
    }


def sessions_table(phases: pl.DataFrame, units: tuple[Unit, ...]) -> pl.DataFrame:
    """Return the therapy of the units that log no samples, one session per step of flow."""
    chosen = [unit.unit_id for unit in units if not unit.logs_samples]
    return phases.filter(pl.col("unit_id").is_in(chosen), pl.col("phase") == "in_use").select(
        "unit_id",
        "started_at",
        "ended_at",
        mean_flow_l_min=pl.col("flow_l_min"),
        mean_dew_point_c=37.0 - pl.col("cooler_c"),
    )
