"""Small random wards, several as the sites of one run, with instants that often meet or just miss each other.

All instants lie on a grid of ten minutes, which every rule is a multiple of, so that a recount step by step
is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import NamedTuple

from hypothesis import strategies as st

STEP = 10
BEGIN = datetime(2026, 3, 29)
#: Minutes from BEGIN; May is reached so that April may be a month without records.
AS_OF = int((datetime(2026, 5, 1, 6) - BEGIN).total_seconds()) // 60
RULES = "[parts.circuit]\nmax_days = 1\n[parts.interface]\nmax_days = 1\n[parts.water_bag]\nper_patient = false"


class Episode(NamedTuple):
    patient: str
    unit: str
    ward: str
    start: int
    end: int | None


class Cycle(NamedTuple):
    unit: str
    start: int
    end: int | None
    outcome: str


class Fitting(NamedTuple):
    unit: str | None
    patient: str | None
    part: str
    at: int
    removed: int | None


@dataclass(frozen=True)
class Ward:
    """One site's records, in no particular order; instants are minutes from BEGIN."""

    episodes: list[Episode]
    cycles: list[Cycle]
    fittings: list[Fitting]


_HOURS = st.integers(0, 130)
_INSTANTS = st.builds(lambda hour, slip: max(0, hour * 60 + slip), _HOURS, st.sampled_from([0, 0, 0, -STEP, STEP]))
_LENGTHS = st.builds(
    lambda hours, slip: max(0, hours * 60 + slip),
    st.sampled_from([0, 1, 2, 2, 3, 5, 12, 24, 30, 60]),
    st.sampled_from([0, 0, -STEP, STEP]),
)
_UNITS, _PATIENTS = st.sampled_from(["u1", "u1", "u2"]), st.sampled_from(["p1", "p2", "p3"])
_PLACES = st.sampled_from(["Alder", "Alder", "Birch"])


def _later(start: int, length: int | None) -> int | None:
    return None if length is None else start + length


_EPISODES = st.builds(
    lambda patient, unit, ward, start, length: Episode(patient, unit, ward, start, _later(start, length)),
    _PATIENTS,
    _UNITS,
    _PLACES,
    _INSTANTS,
    st.one_of(_LENGTHS, _LENGTHS, _LENGTHS, st.none()),
)
_CYCLES = st.builds(
    lambda unit, start, length, outcome: Cycle(unit, start, _later(start, length), outcome),
    _UNITS,
    _INSTANTS,
    st.one_of(st.sampled_from([60, 60, 120, 600]), st.none()),
    st.sampled_from(["passed", "passed", "passed", "failed"]),
)
_FITTINGS = st.builds(
    lambda unit, patient, part, start, length: Fitting(unit, patient, part, start, _later(start, length)),
    st.one_of(_UNITS, _UNITS, st.none()),
    st.one_of(_PATIENTS, st.none()),
    st.sampled_from(["circuit", "circuit", "interface"]),
    _INSTANTS,
    st.one_of(st.none(), st.none(), _LENGTHS),
).filter(lambda fitting: fitting.unit or fitting.patient)

WARDS = st.lists(
    st.builds(
        Ward,
        st.lists(_EPISODES, min_size=1, max_size=7, unique_by=lambda row: (row.patient, row.unit, row.start)),
        st.lists(_CYCLES, max_size=4, unique_by=lambda row: (row.unit, row.start)),
        st.lists(_FITTINGS, max_size=8, unique_by=lambda row: row.at),
    ),
    min_size=4,
    max_size=8,
)


def instant(minutes: int) -> datetime:
    """Return the instant so many minutes after BEGIN."""
    return BEGIN + timedelta(minutes=minutes)


@cache
def month(minutes: int) -> str:
    """Return the month in which the instant lies; the wards' clocks show UTC."""
    return f"{instant(minutes):%Y-%m}"


def site(number: int) -> str:
    """Return the name of the site that holds the ward of that number."""
    return f"S{number}"


def as_tables(wards: Sequence[Ward]) -> dict[str, str]:
    """Return the wards' records as a spec's text tables, each ward a site of its own."""
    tables = {
        "episodes": ["site_id | patient_key | unit_id | ward | started_at | ended_at"],
        "disinfections": ["site_id | unit_id | started_at | ended_at | outcome"],
        "part_changes": ["site_id | unit_id | patient_key | part | fitted_at | removed_at"],
    }
    for number, ward in enumerate(wards):
        for rows, name in ((ward.episodes, "episodes"), (ward.cycles, "disinfections"), (ward.fittings, "part_changes")):
            tables[name] += [" | ".join(map(_cell, (site(number), *row))) for row in rows]
    return {name: "\n".join(rows) for name, rows in tables.items()}


def _cell(value: str | int | None) -> str:
    return str(instant(value)) if isinstance(value, int) else value or ""
