"""What a planted slip is, and what the program must make of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from synthetic_logs.scenario import iso
from synthetic_logs.stays import Leg
from synthetic_logs.visits import Visit

Tables = dict[str, pl.DataFrame]


@dataclass(frozen=True)
class Slip:
    """One planted slip. ``expect`` lists rows of derived tables: {table, where, values}."""

    slip: str
    unit_id: str
    patient_ref: str
    at: str
    expect: tuple[dict[str, Any], ...]
    part: str = ""


Planted = tuple[Tables, list[Slip]]


def expected(table: str, where: dict[str, Any], **values: Any) -> dict[str, Any]:
    """Return one expectation: the row of ``table`` found by ``where`` has these values."""
    return {"table": table, "where": where, "values": values}


def changeover(first: Leg, second: Leg, proof: str) -> dict[str, Any]:
    """Expect the change from one leg to the next to have this proof."""
    where = {
        "unit_id": first.unit_id,
        "from_ended_at": iso(first.ended_at),
        "to_started_at": iso(second.started_at),
    }
    return expected("changeovers", where, proof=proof)


def bypassed(leg: Leg) -> dict[str, Any]:
    """Expect that the unit was used again without having been reprocessed after the leg."""
    where = {"unit_id": leg.unit_id, "ended_at": iso(leg.ended_at)}
    return expected("turnarounds", where, status="bypassed")


def fresh_check(leg: Leg, part: str, verdict: str) -> dict[str, Any]:
    """Expect this verdict on a part at the start of the leg."""
    where = {"unit_id": leg.unit_id, "started_at": iso(leg.started_at), "part": part}
    return expected("fresh_part_checks", where, verdict=verdict)


def span(unit_id: str, part: str, fitted_at: int, **values: Any) -> dict[str, Any]:
    """Expect these values of the span of a part fitted then."""
    return expected("part_spans", {"unit_id": unit_id, "part": part, "fitted_at": iso(fitted_at)}, **values)


def next_leg(visit: Visit) -> Leg:
    """Return the next leg on the unit, which the choice of the visit has made sure of."""
    assert visit.after is not None
    return visit.after


def is_cycle(visit: Visit) -> pl.Expr:
    """Return the rows of the last cycle after the visit."""
    cycle = visit.cycles[-1]
    return (pl.col("unit_id") == cycle.unit_id) & (pl.col("started_at") == cycle.started_at)


def without_cycle(tables: Tables, visit: Visit) -> Tables:
    """Return the tables as if the last cycle after the visit had never been run."""
    return tables | {"disinfections": tables["disinfections"].remove(is_cycle(visit))}
