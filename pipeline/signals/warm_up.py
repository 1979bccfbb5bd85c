"""Units that are slow to warm up beside the pool, and use before the target was reached."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.measures.kaplan_meier import (
    Step,
    kaplan_meier,
    median_limits,
    midpoint_survival_time,
    restricted_mean,
)
from pipeline.measures.robust import robust_scale
from pipeline.signals.months import months_up_to, with_month

if TYPE_CHECKING:
    from pipeline.measures.published import Published

POOLED_MONTHS = 12

#: A unit is judged only by so many runs, beside so many units that have them.
LEAST_RUNS, LEAST_UNITS = 5, 5

#: Robust sigmas above the pool's median at which a unit is slow.
SLOW = 3.0

#: Minutes up to which the mean time to the target is counted, so that a run that never reached it counts too.
COUNTED_MIN = 60


@dataclass(frozen=True)
class UnitWarmUp:
    """One unit's runs: a run that ended before its target is censored, not left out.

    ``median_min`` has limits on the logarithmic scale; ``mean_min`` counts up to `COUNTED_MIN` and is what
    ``robust_z`` compares with the pool; None where runs or units are too few.
    """

    unit_id: str
    runs: int
    reached: int
    median_min: float | None
    median_limits_min: tuple[float | None, float | None]
    mean_min: float | None
    robust_z: float | None
    slow: bool
    runs_used_early: int
    used_before_target_min: float


@dataclass(frozen=True)
class WarmUp:
    """A site's units in the order of their names, and the pool that they are compared with."""

    site_id: str
    months: tuple[str, ...]
    units: tuple[UnitWarmUp, ...]
    pool_mean_min: float | None
    sentence: str


def warm_up(published: Published, site_id: str, until: str, months: int = POOLED_MONTHS) -> WarmUp:
    """Return the warm-up of each unit over the months up to ``until``; runs without a dew point tell nothing."""
    rules = published.sites[site_id]
    kept = months_up_to(rules, until, months)
    runs = with_month(published.read("powered_runs").filter(site_id=site_id), "powered_at", rules)
    runs = runs.filter(pl.col("month").is_in(kept), pl.col("first_dew_point_c").is_not_null())
    by_unit = {
        str(name): rows
        for (name,), rows in runs.sort("unit_id", "powered_at").group_by("unit_id", maintain_order=True)
    }
    curves = {name: _curve(rows) for name, rows in by_unit.items()}
    means = {name: _mean_min(curves[name]) for name, rows in by_unit.items() if rows.height >= LEAST_RUNS}
    scale = robust_scale([*means.values()]) if len(means) >= LEAST_UNITS else None
    distances = {name: scale.distance(mean) if scale else None for name, mean in means.items()}
    units = tuple(
        _unit(name, rows, curves[name], means.get(name), distances.get(name))
        for name, rows in by_unit.items()
    )
    return WarmUp(site_id, kept, units, scale.centre if scale else None, _sentence(units, scale is not None))


def _curve(runs: pl.DataFrame) -> list[Step]:
    reached = runs["target_reached_at"].is_not_null().to_list()
    ends = runs["target_reached_at"].fill_null(runs["ended_at"])
    return kaplan_meier((ends - runs["powered_at"]).dt.total_seconds().to_list(), reached)


def _mean_min(curve: list[Step]) -> float:
    return restricted_mean(curve, COUNTED_MIN * 60) / 60


def _unit(
    name: str, runs: pl.DataFrame, curve: list[Step], mean: float | None, distance: float | None
) -> UnitWarmUp:
    longest = int((runs["ended_at"] - runs["powered_at"]).dt.total_seconds().max())  # type: ignore[arg-type]
    early = runs["in_use_before_target_min"].drop_nulls()
    ends = median_limits(curve)
    return UnitWarmUp(
        name, runs.height, runs.height - runs["target_reached_at"].null_count(),
        _minutes(midpoint_survival_time(curve, 0.5, longest)), (_minutes(ends[0]), _minutes(ends[1])),
        mean, distance, distance is not None and distance > SLOW, early.filter(early > 0).len(), math.fsum(early),
    )  # fmt: skip


def _minutes(seconds: float | None) -> float | None:
    return None if seconds is None else seconds / 60


def _sentence(units: tuple[UnitWarmUp, ...], compared: bool) -> str:
    early = sum(unit.runs_used_early for unit in units)
    runs = sum(unit.runs for unit in units)
    used = f"{early:,} of {runs:,} runs had a patient on before the target was reached"
    if not runs:
        return "No run with a dew point was logged, so warm-up cannot be judged."
    if not compared:
        return f"{used}; fewer than {LEAST_UNITS} units have {LEAST_RUNS} runs, so none is compared with the others."
    slow = sum(unit.slow for unit in units)
    told = f"{used}; {slow} of {len(units)} units are slow to warm up beside the others"
    return f"{told}: have them looked at." if slow else f"{told}."
