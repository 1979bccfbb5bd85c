"""What a turnaround target of so many hours would need of the stays that were seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import polars as pl

from pipeline.measures.competing_risks import COMPETING, EVENT
from pipeline.measures.kaplan_meier import kaplan_meier, restricted_mean

#: Fewer stays have their counts, but no median, no share and no plan.
LEAST_STAYS = 10

#: The share of stays that a target is planned for.
WANTED_SHARE = 0.9


@dataclass(frozen=True)
class TargetNeed:
    """What a target of so many hours would need of the stays seen, in numbers and in a sentence.

    ``late`` of ``known`` stays missed it; ``to_bring_forward`` of them would have to keep it for nine in ten.
    ``longest_wait_h`` is what is left of the target after a cycle that nine in ten do not exceed (None
    where the cycle alone takes it up); ``past_target_h`` is how long a stay's unit stands unready past it,
    on average, up to the longest time seen.
    """

    target_h: float
    known: int
    late: int
    to_bring_forward: int
    cycle_p90_h: float | None
    longest_wait_h: float | None
    waits_longer: int
    past_target_h: float | None
    sentence: str


def target_need(turnarounds: pl.DataFrame, target_h: float) -> TargetNeed:
    """Return what a target would need; ``turnarounds`` are published rows, whatever target they were judged by."""
    ended = pl.col("status").is_in([EVENT, COMPETING])
    known = turnarounds.filter(ended | (pl.col("turnaround_h") >= target_h).fill_null(False))
    kept = known.filter(pl.col("turnaround_h") <= target_h, status=EVENT).height
    ready = turnarounds.filter(status=EVENT)
    cycle_s = ready.select(
        (pl.col("reprocessed_at") - pl.col("cycle_started_at")).dt.total_seconds()
    ).to_series()
    cycle_p90_h = None if cycle_s.is_empty() else sorted(cycle_s)[math.ceil(0.9 * cycle_s.len()) - 1] / 3600
    left_h = None if cycle_p90_h is None or cycle_p90_h >= target_h else target_h - cycle_p90_h
    longer = 0 if left_h is None else ready.filter(pl.col("wait_h") > left_h).height
    forward = max(0, math.ceil(WANTED_SHARE * known.height) - kept)
    return TargetNeed(
        target_h, known.height, known.height - kept, forward, cycle_p90_h, left_h, longer,
        _past_target(turnarounds, target_h), _need_sentence(target_h, known.height, kept, forward, cycle_p90_h, left_h),
    )  # fmt: skip


def _past_target(turnarounds: pl.DataFrame, target_h: float) -> float | None:
    """Return the mean hours past the target in which a stay's unit was neither disinfected nor in use again."""
    timed = turnarounds.filter(pl.col("turnaround_h").is_not_null())
    times = [round(hours * 3600) for hours in timed["turnaround_h"]]
    target_s = round(target_h * 3600)
    if not times:
        return None
    curve = kaplan_meier(times, [status in (EVENT, COMPETING) for status in timed["status"]])
    longest = max(*times, target_s)
    return (restricted_mean(curve, longest) - restricted_mean(curve, target_s)) / 3600


def _need_sentence(
    target_h: float, known: int, kept: int, forward: int, cycle_p90_h: float | None, left_h: float | None
) -> str:
    if known < LEAST_STAYS:
        return f"Too thin to plan a target by: the outcome of {known} stays is known, and {LEAST_STAYS} are needed."
    told = f"{kept:,} of {known:,} stays were reprocessed within {target_h:g} h"
    if not forward:
        return f"{told}: nine in ten already are."
    told += f"; for nine in ten {forward:,} more would have to be"
    if left_h is None:
        cycle = (
            "no cycle was seen"
            if cycle_p90_h is None
            else f"the cycle alone takes {cycle_p90_h:.1f} h in one of ten"
        )
        return f"{told}, but {cycle}, so waiting less cannot be enough."
    return f"{told}. A cycle takes up to {cycle_p90_h:.1f} h in nine of ten, which leaves {left_h:.1f} h of waiting."
