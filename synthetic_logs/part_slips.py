"""The planted slips of parts and of the units' own use, each a named function on clean tables.

A slip takes the tables, the visit chosen for it, the scene and random numbers; it returns the changed tables
and what was planted, with what the program must make of it.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.random import Generator

from synthetic_logs.samples import first_sample_at
from synthetic_logs.scenario import BAG_ML, DAY, HOUR, MINUTE, PART_LIMIT_S, iso
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
from synthetic_logs.usage import ML_PER_LITRE, PHASES, run_of_phases
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


def weekly_change(tables: Tables, visit: Visit) -> tuple[str, int, int, int] | None:
    """Return part, fitting, its change and when the part would have ended without it; None if in time."""
    for part in ("circuit", "interface"):
        times = [*fitted(tables, visit.number, part), visit.leg.ended_at]
        for fitted_at, changed_at, end in zip(times, times[1:], times[2:], strict=False):
            if end - fitted_at > PART_LIMIT_S + 3 * HOUR:
                return part, fitted_at, changed_at, end
    return None


def missed_change(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A weekly change during a stay was never charted, so that the part before it seems to have stayed on."""
    change = weekly_change(tables, visit)
    assert change is not None
    part, fitted_at, changed_at, end = change
    hours = (end - fitted_at - PART_LIMIT_S) / HOUR
    expect = (span(visit.leg.unit_id, part, fitted_at, outcome="overrun", overrun_h=round(hours, 6)),)
    slip = Slip("missed_change", visit.leg.unit_id, visit.leg.patient_ref, iso(changed_at), expect, part)
    return _without_fitting(tables, visit.number, part, changed_at), [slip]


def late_change(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A weekly change was made hours to days after the limit."""
    change = weekly_change(tables, visit)
    assert change is not None
    part, fitted_at, changed_at, end = change
    longest_h = (end - fitted_at - PART_LIMIT_S) / HOUR - 1
    late_h = min(float(np.exp(random.normal(2.8, 0.7))), longest_h, 96.0)
    late_at = fitted_at + PART_LIMIT_S + max(int(late_h * 60), 60) * MINUTE
    moved = (pl.col("leg") == visit.number) & (pl.col("part") == part) & (pl.col("fitted_at") == changed_at)
    changes = tables["part_changes"].with_columns(
        pl.when(moved).then(late_at).otherwise("fitted_at").alias("fitted_at")
    )
    overrun_h = round((late_at - fitted_at - PART_LIMIT_S) / HOUR, 6)
    expect = (span(visit.leg.unit_id, part, fitted_at, outcome="overrun", overrun_h=overrun_h),)
    slip = Slip("late_change", visit.leg.unit_id, visit.leg.patient_ref, iso(late_at), expect, part)
    return tables | {"part_changes": changes}, [slip]


def left_hanging(tables: Tables, visit: Visit) -> tuple[int, int] | None:
    """Return when a bag was hung and the next one, were it left out so that the first runs well dry."""
    times = [*fitted(tables, visit.number, "water_bag"), visit.leg.ended_at]
    use = tables["phases"].filter(pl.col("leg") == visit.number, pl.col("phase") == "in_use")
    starts, ends, flow = (use[name].to_numpy() for name in ("started_at", "ended_at", "flow_l_min"))
    for hung_at, next_at, end in zip(times, times[1:], times[2:], strict=False):
        seconds = np.clip(np.minimum(ends, end) - np.maximum(starts, hung_at), 0, None)
        if end - hung_at < 2.5 * DAY and (seconds * flow).sum() / MINUTE * ML_PER_LITRE > 1.2 * BAG_ML:
            return hung_at, next_at
    return None


def dry_bag(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A water bag was left hanging until long after its water had run out."""
    bag = left_hanging(tables, visit)
    assert bag is not None
    hung_at, next_at = bag
    where = {"unit_id": visit.leg.unit_id, "hung_at": iso(hung_at)}
    expect = (expected("bag_runs", where, dry_therapy_min={"at_least": 60}),)
    slip = Slip("dry_bag", visit.leg.unit_id, visit.leg.patient_ref, iso(next_at), expect, "water_bag")
    return _without_fitting(tables, visit.number, "water_bag", next_at), [slip]


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
