"""Small random wards, several as the sites of one run, with instants that often meet or just miss each other.

All instants lie on a grid of ten minutes, which every rule is a multiple of, so that a recount step by step
is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from itertools import accumulate
from typing import NamedTuple

from hypothesis import strategies as st

STEP = 10
BEGIN = datetime(2026, 3, 29)
#: Minutes from BEGIN; May is reached so that April may be a month without records.
AS_OF = int((datetime(2026, 5, 1, 6) - BEGIN).total_seconds()) // 60
RULES = (
    "[parts.circuit]\nmax_days = 1\n[parts.interface]\nmax_days = 1\n[parts.water_bag]\nper_patient = false"
)


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


class Sample(NamedTuple):
    unit: str
    at: int
    phase: str
    flow: int


class Session(NamedTuple):
    unit: str
    start: int
    end: int
    flow: int


@dataclass(frozen=True)
class Ward:
    """One site's records, in no particular order; instants are minutes from BEGIN."""

    episodes: list[Episode]
    cycles: list[Cycle]
    fittings: list[Fitting]
    samples: list[Sample] = field(default_factory=list)
    sessions: list[Session] = field(default_factory=list)


_HOURS = st.integers(0, 130)
_INSTANTS = st.builds(
    lambda hour, slip: max(0, hour * 60 + slip), _HOURS, st.sampled_from([0, 0, 0, -STEP, STEP])
)
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


def _logged(unit: str, start: int, rows: list[tuple[int, str, int]]) -> list[Sample]:
    """Return a unit's samples, each so many minutes after the one before."""
    ends = accumulate((gap for gap, _, _ in rows), initial=start)
    return [Sample(unit, at, phase, flow) for at, (_, phase, flow) in zip(ends, rows, strict=False)]


_ROWS = st.tuples(
    st.sampled_from([1, 3, 5, 10, 11, 30]),
    st.sampled_from(["in_use", "in_use", "in_use", "heating", "standby", "off"]),
    st.sampled_from([20, 30, 60]),
)
_SAMPLES = st.lists(
    st.builds(_logged, _UNITS, _INSTANTS, st.lists(_ROWS, min_size=1, max_size=6)), max_size=3
).map(lambda runs: list({(row.unit, row.at): row for run in runs for row in run}.values()))
_SESSIONS = st.lists(
    st.builds(
        lambda unit, start, length, flow: Session(unit, start, start + length, flow),
        _UNITS,
        _INSTANTS,
        st.sampled_from([10, 60, 300, 1500]),
        st.sampled_from([20, 30, 60]),
    ),
    max_size=3,
    unique_by=lambda row: (row.unit, row.start),
)
_EPISODE_LISTS = st.lists(
    _EPISODES, min_size=1, max_size=7, unique_by=lambda row: (row.patient, row.unit, row.start)
)
_CYCLE_LISTS = st.lists(_CYCLES, max_size=4, unique_by=lambda row: (row.unit, row.start))
_FITTING_LISTS = st.lists(_FITTINGS, max_size=8, unique_by=lambda row: row.at)

#: Charts alone, and charts beside what the units logged.
WARDS = st.lists(st.builds(Ward, _EPISODE_LISTS, _CYCLE_LISTS, _FITTING_LISTS), min_size=4, max_size=8)
LOGGED_WARDS = st.lists(
    st.builds(Ward, _EPISODE_LISTS, _CYCLE_LISTS, _FITTING_LISTS, _SAMPLES, _SESSIONS), min_size=3, max_size=6
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


_TABLES = {
    "episodes": "patient_key | unit_id | ward | started_at | ended_at",
    "disinfections": "unit_id | started_at | ended_at | outcome",
    "part_changes": "unit_id | patient_key | part | fitted_at | removed_at",
    "usage_samples": "unit_id | sampled_at | phase | flow_l_min",
    "usage_sessions": "unit_id | started_at | ended_at | mean_flow_l_min",
}
_WHOLE_NUMBERS = {"flow"}


def as_tables(wards: Sequence[Ward]) -> dict[str, str]:
    """Return the wards' records as a spec's text tables, each ward a site of its own."""
    tables = {name: [f"site_id | {columns}"] for name, columns in _TABLES.items()}
    for number, ward in enumerate(wards):
        lists = (ward.episodes, ward.cycles, ward.fittings, ward.samples, ward.sessions)
        for rows, lines in zip(lists, tables.values(), strict=True):
            lines += [" | ".join((site(number), *_cells(row))) for row in rows]
    return {name: "\n".join(lines) for name, lines in tables.items() if len(lines) > 1}


def _cells(row: NamedTuple) -> list[str]:
    return [
        str(instant(value)) if isinstance(value, int) and name not in _WHOLE_NUMBERS else str(value or "")
        for name, value in row._asdict().items()
    ]
