"""The planted slips of disinfection, counts and episodes, each a named function on clean tables.

A slip takes the tables, the visit chosen for it, the scene and random numbers; it returns the changed tables
and what was planted, with what the program must make of it. Slips of parts and of the units' use are in
`part_slips`, those of the files' text in `file_slips`.
"""

from __future__ import annotations

from typing import Any

import polars as pl
from numpy.random import Generator

from synthetic_logs.cycles import count_at
from synthetic_logs.scenario import HOUR, MINUTE, iso
from synthetic_logs.slip_records import (
    Planted,
    Slip,
    Tables,
    bypassed,
    changeover,
    expected,
    is_cycle,
    next_leg,
    without_cycle,
)
from synthetic_logs.stays import Leg
from synthetic_logs.visits import Scene, Visit


def _with_end(tables: Tables, leg: Leg, ended_at: int | None) -> Tables:
    is_leg = (pl.col("unit_id") == leg.unit_id) & (pl.col("started_at") == leg.started_at)
    changed = pl.when(is_leg).then(pl.lit(ended_at, pl.Int64)).otherwise("ended_at").alias("ended_at")
    return tables | {"episodes": tables["episodes"].with_columns(changed)}


def missed_disinfection(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """The unit went from patient to patient without a cycle; its counter did not rise."""
    second = next_leg(visit)
    expect = (changeover(visit.leg, second, "no_record"), bypassed(visit.leg))
    slip = Slip("missed_disinfection", second.unit_id, second.patient_ref, iso(second.started_at), expect)
    return without_cycle(tables, visit), [slip]


def failed_cycle_then_used(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """The only cycle between two patients failed, and the unit was used all the same."""
    second, cycle = next_leg(visit), visit.cycles[-1]
    ended_at = cycle.started_at + int(random.integers(15, 45)) * MINUTE
    failed = tables["disinfections"].with_columns(
        pl.when(is_cycle(visit)).then(pl.lit("failed")).otherwise("outcome").alias("outcome"),
        pl.when(is_cycle(visit)).then(ended_at).otherwise("ended_at").alias("ended_at"),
    )
    expect = (changeover(visit.leg, second, "invalid_cycle"), bypassed(visit.leg))
    slip = Slip("failed_cycle_then_used", second.unit_id, second.patient_ref, iso(cycle.started_at), expect)
    return tables | {"disinfections": failed}, [slip]


def unrecorded_disinfection(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A cycle that passed was never recorded; readings before and after show that the count rose."""
    second, cycle = next_leg(visit), visit.cycles[-1]
    from_at, to_at = visit.leg.ended_at - 2 * HOUR, cycle.ended_at + 40 * MINUTE
    between = (pl.col("unit_id") == cycle.unit_id) & pl.col("read_at").is_between(from_at, to_at)
    added = pl.DataFrame(
        {"unit_id": [cycle.unit_id] * 2, "read_at": [from_at, to_at], "misread_by": [0, 0]},
        schema=tables["count_readings"].schema,
    )
    silent = pl.col("recorded") & ~is_cycle(visit)
    changed = tables | {
        "disinfections": tables["disinfections"].with_columns(silent.alias("recorded")),
        "count_readings": pl.concat([tables["count_readings"].remove(between), added]),
    }
    where = {"unit_id": cycle.unit_id, "from_at": iso(from_at), "to_at": iso(to_at)}
    expect = (
        changeover(visit.leg, second, "counter_only"),
        bypassed(visit.leg),
        expected("count_checks", where, expected=0, counted=1, verdict="unrecorded"),
    )
    at = iso(cycle.started_at)
    return changed, [Slip("unrecorded_disinfection", cycle.unit_id, second.patient_ref, at, expect)]


def expired_storage(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A unit stored longer than the site allows was used without the fresh cycle it should have had."""
    second = next_leg(visit)
    expect = (changeover(visit.leg, second, "expired"),)
    slip = Slip("expired_storage", second.unit_id, second.patient_ref, iso(second.started_at), expect)
    return without_cycle(tables, visit), [slip]


def _stay_ends(visit: Visit) -> tuple[dict[str, Any], ...]:
    """Return the expectation that the stay ends where its unit's cycle began."""
    leg = visit.leg
    where = {"unit_id": leg.unit_id, "started_at": iso(leg.started_at)}
    ended_at = iso(visit.cycles[-1].started_at)
    return (
        expected("patient_stays", where, ended_at=ended_at, overlapping=False),
        expected(
            "turnarounds", {"unit_id": leg.unit_id, "ended_at": ended_at}, status="reprocessed", wait_h=0
        ),
    )


def late_end(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """The end of an episode was charted while the unit was already in its cycle, or soon after."""
    charted = visit.cycles[-1].started_at + int(random.integers(10, 101)) * MINUTE
    slip = Slip("late_end", visit.leg.unit_id, visit.leg.patient_ref, iso(charted), _stay_ends(visit))
    return _with_end(tables, visit.leg, charted), [slip]


def missing_end(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """The end of an episode was never charted."""
    slip = Slip(
        "missing_end", visit.leg.unit_id, visit.leg.patient_ref, iso(visit.leg.ended_at), _stay_ends(visit)
    )
    return _with_end(tables, visit.leg, None), [slip]


def overlapping_episodes(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """The end was charted five hours after the next patient's start: both cannot be right."""
    first, second, before, following = visit.leg, next_leg(visit), visit.before, visit.next_but_one
    assert before is not None
    assert following is not None
    charted = second.started_at + 5 * HOUR
    where = [{"unit_id": leg.unit_id, "started_at": iso(leg.started_at)} for leg in (first, second)]
    expect = (
        *(expected("patient_stays", row, overlapping=True) for row in where),
        changeover(before, first, "overlap"),
        expected(
            "changeovers",
            {"unit_id": first.unit_id, "to_started_at": iso(second.started_at)},
            proof="overlap",
        ),
        changeover(second, following, "overlap"),
    )
    slip = Slip("overlapping_episodes", first.unit_id, first.patient_ref, iso(charted), expect)
    return _with_end(tables, first, charted), [slip]


def _next_count(tables: Tables, unit_id: str, instant: int) -> int:
    """Return when the unit's count is next known after the instant."""
    cycles = tables["disinfections"].filter("recorded", pl.col("unit_id") == unit_id)["ended_at"]
    readings = tables["count_readings"].filter(pl.col("unit_id") == unit_id)["read_at"]
    return min(at for at in [*cycles, *readings] if at > instant)


def count_rollback(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """A unit's counter was set back, as after a repair of its electronics."""
    unit_id, at = visit.leg.unit_id, visit.leg.ended_at - HOUR
    asked = pl.DataFrame({"unit_id": [unit_id], "at": [at]})
    shift = 2 - int(count_at(asked, "at", tables)[0])
    row = pl.DataFrame(
        {"unit_id": [unit_id], "from_at": [at], "shift": [shift]}, schema=tables["counters"].schema
    )
    where = {"unit_id": unit_id, "to_at": iso(_next_count(tables, unit_id, at))}
    expect = (expected("count_checks", where, verdict="rollback"),)
    slip = Slip("count_rollback", unit_id, visit.leg.patient_ref, iso(at), expect)
    return tables | {"counters": pl.concat([tables["counters"], row])}, [slip]


def count_misread(tables: Tables, visit: Visit, scene: Scene, random: Generator) -> Planted:
    """One digit of a unit's count was misread."""
    leg = visit.leg
    read_at = reading_within(tables, leg)
    assert read_at is not None
    here = (pl.col("unit_id") == leg.unit_id) & (pl.col("read_at") == read_at)
    error = int(random.choice([-10, 10, 60, 100]))
    readings = tables["count_readings"].with_columns(
        pl.when(here).then(error).otherwise("misread_by").alias("misread_by")
    )
    wheres = [{"unit_id": leg.unit_id, side: iso(read_at)} for side in ("to_at", "from_at")]
    expect = tuple(expected("count_checks", where, verdict="likely_misread") for where in wheres)
    slip = Slip("count_misread", leg.unit_id, leg.patient_ref, iso(read_at), expect)
    return tables | {"count_readings": readings}, [slip]


def reading_within(tables: Tables, leg: Leg) -> int | None:
    """Return the first instant within the leg at which its unit's count was read, if it was."""
    during = pl.col("read_at").is_between(leg.started_at, leg.ended_at)
    times = tables["count_readings"].filter(pl.col("unit_id") == leg.unit_id, during)["read_at"]
    return min(times, default=None)
