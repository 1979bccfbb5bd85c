"""The planted slips of parts and of the units' own use, each a named function on clean tables.

A slip takes the tables, the visit chosen for it, the scene and random numbers; it returns the changed tables
and what was planted, with what the program must make of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.random import Generator

from synthetic_logs.parts import water_curves
from synthetic_logs.samples import first_sample_at
from synthetic_logs.scenario import BAG_ML, DAY, HOUR, MINUTE, PART_LIMIT_S, ROWAN_DRIFT_FROM, iso
from synthetic_logs.slip_records import (
    Planted,
    Slip,
    Tables,
    bypassed,
    changeover,
    expected,
    fresh_check,
    next_leg,
    span,
    without_cycle,
)
from synthetic_logs.usage import PHASES, run_of_phases
from synthetic_logs.visits import Scene, Visit


def fitted(tables: Tables, number: int, part: str) -> list[int]:
    """Return when a part was fitted for a leg, in order."""
    rows = tables["part_changes"].filter(pl.col("leg") == number, pl.col("part") == part)
    return sorted(rows["fitted_at"].to_list())


def _without_fitting(tables: Tables, number: int, part: str, fitted_at: int) -> Tables:
    gone = (pl.col("leg") == number) & (pl.col("part") == part) & (pl.col("fitted_at") == fitted_at)
    return tables | {"part_changes": tables["part_changes"].remove(gone)}


def carried_over_circuit(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """Neither a cycle nor a new circuit between two patients: the first one's circuit served the second."""
    second, (fitted_at,) = next_leg(visit), fitted(tables, visit.number, "circuit")
    changed = without_cycle(tables, visit)
    for at in fitted(tables, visit.after_number, "circuit"):
        changed = _without_fitting(changed, visit.after_number, "circuit", at)
    expect = (
        fresh_check(second, "circuit", "carried_over"),
        span(second.unit_id, "circuit", fitted_at, carried_over=1, outcome="within_limit"),
        changeover(visit.leg, second, "no_record"),
        bypassed(visit.leg),
    )
    started_at = iso(second.started_at)
    slip = Slip("carried_over_circuit", second.unit_id, second.patient_ref, started_at, expect, "circuit")
    return changed, [slip]


def missed_fitting(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A part was never charted as fitted for a new patient."""
    leg, part = visit.leg, ("circuit", "interface", "water_bag")[int(random.integers(3))]
    first = fitted(tables, visit.number, part)[0]
    expect = (fresh_check(leg, part, "no_record"),)
    slip = Slip("missed_fitting", leg.unit_id, leg.patient_ref, iso(leg.started_at), expect, part)
    return _without_fitting(tables, visit.number, part, first), [slip]


@dataclass(frozen=True)
class WeeklyChange:
    """A change that kept a part within its limit; without it the part stayed until ``would_end_at``."""

    part: str
    fitted_at: int
    changed_at: int
    would_end_at: int


def weekly_changes(tables: Tables, visit: Visit, part: str) -> list[WeeklyChange]:
    """Return the changes of a part during the visit that its limit made necessary, in order."""
    times = [*fitted(tables, visit.number, part), visit.leg.ended_at]
    changes = [WeeklyChange(part, *three) for three in zip(times, times[1:], times[2:], strict=False)]
    return [change for change in changes if change.would_end_at - change.fitted_at > PART_LIMIT_S + 5 * HOUR]


def first_weekly_change(tables: Tables, visit: Visit) -> WeeklyChange | None:
    """Return the first necessary change of a circuit, else of an interface, None when there is neither."""
    both = [*weekly_changes(tables, visit, "circuit"), *weekly_changes(tables, visit, "interface")]
    return both[0] if both else None


def _overrun(slip: str, visit: Visit, change: WeeklyChange, at: int, end: int) -> Slip:
    hours = round((end - change.fitted_at - PART_LIMIT_S) / HOUR, 6)
    expect = (span(visit.leg.unit_id, change.part, change.fitted_at, outcome="overrun", overrun_h=hours),)
    return Slip(slip, visit.leg.unit_id, visit.leg.patient_ref, iso(at), expect, change.part)


def missed_change(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A weekly change during a stay was never charted, so that the part before it seems to have stayed on."""
    change = first_weekly_change(tables, visit)
    assert change is not None
    slip = _overrun("missed_change", visit, change, change.changed_at, change.would_end_at)
    return _without_fitting(tables, visit.number, change.part, change.changed_at), [slip]


def late_changes(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """Weekly changes were made hours to days after the limit, in the share that is the ward's habit."""
    planted: list[Slip] = []
    for part in ("circuit", "interface"):
        for fitted_at in fitted(tables, visit.number, part):
            due = [change for change in weekly_changes(tables, visit, part) if change.fitted_at == fitted_at]
            if due and random.random() < late_share(scene, visit, part):
                tables, slip = _late_change(tables, visit, due[0], random)
                planted.append(slip)
    return tables, planted


def _late_change(
    tables: Tables, visit: Visit, change: WeeklyChange, random: Generator
) -> tuple[Tables, Slip]:
    longest_h = (change.would_end_at - change.fitted_at - PART_LIMIT_S) / HOUR - 3
    late_h = min(max(float(np.exp(random.normal(2.8, 0.85))), 1), longest_h, 96)
    late_at = change.fitted_at + PART_LIMIT_S + int(late_h * 60) * MINUTE
    rows = (
        (pl.col("leg") == visit.number)
        & (pl.col("part") == change.part)
        & (pl.col("fitted_at") == change.changed_at)
    )
    moved = pl.when(rows).then(late_at).otherwise("fitted_at").alias("fitted_at")
    changed = tables | {"part_changes": tables["part_changes"].with_columns(moved)}
    return changed, _overrun("late_change", visit, change, late_at, late_at)


def late_share(scene: Scene, visit: Visit, part: str) -> float:
    """Return the share of weekly changes that come late; for Rowan's circuits it grows from March 2026 on."""
    ward = next(ward for ward in scene.site.wards if ward.name == visit.leg.ward)
    month = scene.scenario.month_of(visit.leg.started_at)
    if ward.name != "Rowan" or part != "circuit" or month < ROWAN_DRIFT_FROM:
        return ward.late_share
    year, number = map(int, month.split("-"))
    return min(ward.late_share + 0.15 * ((year - 2026) * 12 + number - 2), 0.85)


@dataclass(frozen=True)
class DryBag:
    """A bag that, left hanging past ``changed_at``, runs dry at ``empty_at``, well before ``end``."""

    hung_at: int
    changed_at: int
    empty_at: int
    end: int


def first_dry_bag(tables: Tables, visit: Visit) -> DryBag | None:
    """Return the first bag of the visit that would run well dry were the next one left out."""
    times = [*fitted(tables, visit.number, "water_bag"), visit.leg.ended_at]
    bounds, used = next(water_curves(tables["phases"].filter(pl.col("leg") == visit.number)))
    for hung_at, changed_at, end in zip(times, times[1:], times[2:], strict=False):
        at_start, at_end = np.interp([hung_at, end], bounds, used)
        if end - hung_at < 2.5 * DAY and at_end - at_start > 1.2 * BAG_ML:
            return DryBag(hung_at, changed_at, int(np.interp(at_start + BAG_ML, used, bounds)), end)
    return None


def dry_bag(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A water bag was left hanging until long after its water had run out, and the dew point sank."""
    bag = first_dry_bag(tables, visit)
    assert bag is not None
    where = {"unit_id": visit.leg.unit_id, "hung_at": iso(bag.hung_at)}
    expect = (expected("bag_runs", where, dry_therapy_min={"at_least": 60}),)
    slip = Slip("dry_bag", visit.leg.unit_id, visit.leg.patient_ref, iso(bag.changed_at), expect, "water_bag")
    left = _without_fitting(tables, visit.number, "water_bag", bag.changed_at)
    phases = _cooled(left["phases"], visit.number, bag.empty_at + 30 * MINUTE, bag.end)
    return left | {"phases": phases}, [slip]


def _cooled(phases: pl.DataFrame, leg: int, start: int, end: int) -> pl.DataFrame:
    """Return the phases with a leg's dew point 4 °C lower from start to end."""
    rows = phases.filter(pl.col("leg") == leg)
    pieces = [
        rows.with_columns(
            pl.col("started_at").clip(lower_bound=low),
            pl.col("ended_at").clip(upper_bound=high),
            pl.lit(cooler).alias("cooler_c"),
        )
        for low, high, cooler in ((None, start, 0.0), (start, end, 4.0), (end, None, 0.0))
    ]
    split = pl.concat(pieces).filter(pl.col("started_at") < pl.col("ended_at"))
    return pl.concat([phases.remove(pl.col("leg") == leg), split])


def clock_drift(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A unit's clock ran some minutes ahead during two stays: within the tolerance, nothing comes of it."""
    second, minutes = next_leg(visit), int(random.integers(4, 9))
    ahead = pl.col("leg").is_in([visit.number, visit.after_number])
    phases = tables["phases"].with_columns(
        pl.when(ahead).then(minutes * MINUTE).otherwise("clock_ahead_s").alias("clock_ahead_s")
    )
    expect = (changeover(visit.leg, second, "disinfected"),)
    slip = Slip("clock_drift", second.unit_id, second.patient_ref, iso(visit.leg.started_at), expect)
    return tables | {"phases": phases}, [slip]


def cold_start(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """Therapy began on a unit just switched on, before it had warmed up."""
    leg = visit.leg
    is_leg = pl.col("leg") == visit.number
    phases = (
        tables["phases"]
        .remove(is_leg & (pl.col("phase") == "heating"))
        .with_columns(pl.when(is_leg).then(leg.started_at).otherwise("powered_at").alias("powered_at"))
    )
    powered_at = first_sample_at(scene.number_of[leg.unit_id], leg.started_at, scene.scenario)
    where = {"unit_id": leg.unit_id, "powered_at": iso(powered_at)}
    expect = (expected("powered_runs", where, in_use_before_target_min={"at_least": 5}),)
    slip = Slip("cold_start", leg.unit_id, leg.patient_ref, iso(leg.started_at), expect)
    return tables | {"phases": phases}, [slip]


def uncharted_use(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A clean unit was used for some hours, without a patient in the record, and then by the next patient."""
    second, cycle = next_leg(visit), visit.cycles[-1]
    start = cycle.ended_at + 90 * MINUTE
    end = start + int(random.integers(120, 240)) * MINUTE
    off_at, off_until = end + 8 * MINUTE, end + (8 + scene.scenario.sample_minutes) * MINUTE
    rows = [
        ("heating", start - 35 * MINUTE, start, 0),
        ("in_use", start, end, 0),
        ("standby", end, off_at, 0),
        ("off", off_at, off_until, 0),
    ]
    run = run_of_phases(-1, cycle.unit_id, rows, random.uniform(25, 45, 1), random.uniform(25, 40, 1))
    phases = pl.concat([tables["phases"], pl.DataFrame(run, schema=PHASES)])
    expect = (changeover(visit.leg, second, "uncharted_use"),)
    slip = Slip("uncharted_use", cycle.unit_id, second.patient_ref, iso(start), expect)
    return tables | {"phases": phases}, [slip]
