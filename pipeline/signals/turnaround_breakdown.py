"""Turnaround by ward, weekday and shift, where the hours go, and what a target would need."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

import polars as pl

from pipeline.measures.competing_risks import COMPETING, EVENT, cumulative_incidence, share_at, time_of
from pipeline.measures.incidence_limits import incidence_with_limits, step_at, time_limits
from pipeline.measures.intervals import Limits, median_interval, wilson
from pipeline.signals.months import local_time, months_up_to
from pipeline.signals.target_need import LEAST_STAYS, TargetNeed, target_need
from pipeline.site_rules import SiteRules

if TYPE_CHECKING:
    from pipeline.measures.published import Published

POOLED_MONTHS = 12

#: Local hours at which the shifts begin. Wards may keep others; the page says which these are.
SHIFTS = ((7, "early, 07 to 15"), (15, "late, 15 to 23"), (23, "night, 23 to 07"))
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True)
class TurnaroundGroup:
    """Stays that ended in one ward, on one weekday or in one shift, with 95 % limits; None where too few.

    ``median_h`` is the time by which half are reprocessed, ``within`` the share by the target; at none or all
    its limits are Wilson's.
    """

    kind: str
    name: str
    ended: int
    reprocessed: int
    bypassed: int
    censored: int
    not_assessable: int
    median_h: float | None
    median_limits_h: tuple[float | None, float | None]
    within: float | None
    within_limits: Limits | None


@dataclass(frozen=True)
class HoursPart:
    """One stretch of the time between two patients: how many of them, the median with its limits, the sum."""

    name: str
    stays: int
    median_h: float | None
    median_limits_h: Limits | None
    total_h: float
    share: float


@dataclass(frozen=True)
class TurnaroundBreakdown:
    """A site's turnaround over some months."""

    site_id: str
    months: tuple[str, str]
    groups: tuple[TurnaroundGroup, ...]
    hours: tuple[HoursPart, ...]
    need: TargetNeed


def turnaround_breakdown(
    published: Published, site_id: str, until: str, months: int = POOLED_MONTHS
) -> TurnaroundBreakdown:
    """Return the turnaround of stays that ended in the months up to ``until``, by the local time of their end."""
    rules = published.sites[site_id]
    kept = months_up_to(rules, until, months)
    rows = _with_groups(published.read("turnarounds").filter(site_id=site_id), rules)
    rows = rows.filter(pl.col("month").is_in(kept))
    return TurnaroundBreakdown(
        site_id,
        (kept[0], kept[-1]),
        _groups(rows, rules),
        hours_parts(rows),
        target_need(rows, rules.turnaround_target_h),
    )


def _with_groups(rows: pl.DataFrame, rules: SiteRules) -> pl.DataFrame:
    local = local_time("ended_at", rules)
    hour = local.dt.hour()
    early = (hour >= SHIFTS[0][0]) & (hour < SHIFTS[1][0])
    late = (hour >= SHIFTS[1][0]) & (hour < SHIFTS[2][0])
    shift = pl.when(early).then(0).when(late).then(1).otherwise(2)
    return rows.with_columns(
        month=local.dt.strftime("%Y-%m"), weekday=local.dt.weekday() - 1, shift=shift,
        seconds=(pl.col("turnaround_h") * 3600).round().cast(pl.Int64),
    )  # fmt: skip


def _groups(rows: pl.DataFrame, rules: SiteRules) -> tuple[TurnaroundGroup, ...]:
    found = [_group("site", "*", rows, rules)]
    for ward in sorted(rows["ward"].drop_nulls().unique()):
        found.append(_group("ward", ward, rows.filter(pl.col("ward") == ward), rules))
    for number, name in enumerate(WEEKDAYS):
        found.append(_group("weekday", name, rows.filter(weekday=number), rules))
    for number, (_, name) in enumerate(SHIFTS):
        found.append(_group("shift", name, rows.filter(shift=number), rules))
    return tuple(group for group in found if group.ended)


def _group(kind: str, name: str, rows: pl.DataFrame, rules: SiteRules) -> TurnaroundGroup:
    counted = dict(rows["status"].value_counts().rows())
    timed = rows.filter(pl.col("seconds").is_not_null()).sort("seconds", "status")
    times, statuses = timed["seconds"].to_list(), timed["status"].to_list()
    half, within, limits = None, None, None
    ends: tuple[int | None, int | None] = (None, None)
    if len(times) >= LEAST_STAYS:
        exact, curve = cumulative_incidence(times, statuses), incidence_with_limits(times, statuses)
        half, ends = time_of(exact, 0.5), time_limits(curve, 0.5)
        target_s = rules.turnaround_target_h * 3600
        within, step = share_at(exact, times, statuses, target_s), step_at(curve, target_s)
        if step and step.low is not None and step.high is not None:
            limits = step.low, step.high
        elif within in (0, 1):
            limits = wilson(round(within * len(times)), len(times))
    return TurnaroundGroup(
        kind, name, rows.height, counted.get(EVENT, 0), counted.get(COMPETING, 0),
        counted.get("waiting", 0) + counted.get("withdrawn", 0), counted.get("not_assessable", 0),
        _hours(half), (_hours(ends[0]), _hours(ends[1])), within, limits,
    )  # fmt: skip


def _hours(seconds: int | None) -> float | None:
    return None if seconds is None else seconds / 3600


def hours_parts(turnarounds: pl.DataFrame) -> tuple[HoursPart, ...]:
    """Return where the hours between two patients went: waiting, in the cycle, ready; and never disinfected.

    Ready time counts where the next stay has begun; time without a cycle as long as it was seen.
    """
    ready = turnarounds.filter(status=EVENT)
    never = turnarounds.filter(pl.col("status").is_in([COMPETING, "waiting", "withdrawn"]))
    parts = (
        ("waiting for its cycle", ready["wait_h"]),
        ("in its cycle", ready.select(_span_h("cycle_started_at", "reprocessed_at")).to_series()),
        (
            "ready, until the next patient",
            ready.select(_span_h("reprocessed_at", "next_started_at")).to_series(),
        ),
        ("without a valid cycle", never["turnaround_h"]),
    )
    lengths = [(name, sorted(hours.drop_nulls().to_list())) for name, hours in parts]
    whole = math.fsum(hour for _, hours in lengths for hour in hours)
    return tuple(_hours_part(name, hours, whole) for name, hours in lengths)


def _span_h(start: str, end: str) -> pl.Expr:
    return ((pl.col(end) - pl.col(start)).dt.total_seconds() / 3600).clip(0)


def _hours_part(name: str, hours: Sequence[float], whole: float) -> HoursPart:
    total = math.fsum(hours)
    middle = median(hours) if hours else None
    return HoursPart(name, len(hours), middle, median_interval(hours), total, total / whole if whole else 0.0)
