"""The worklist of contract 4.13, measured as of an instant; the published results stay as they are.

It only reads the store: a scheduler may run it each hour while another run holds the store.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any

import duckdb

from pipeline.errors import UsageError
from pipeline.freshness import RHYTHMS, QuietSource, quiet_sources
from pipeline.measures.in_memory import measured, models_behind
from pipeline.site_rules import SiteRules
from pipeline.store.layout import Store

#: Hours after which the data are said to be stale.
STALE_AFTER_H = 24

#: The tables that the list is drawn from; the latest event in any of them tells how old it is.
_SOURCES = (
    "episodes", "part_changes", "disinfections", "usage_samples", "usage_sessions", "count_readings",
)  # fmt: skip

#: What each kind of row says of its part or unit, in the order of urgency.
KINDS = {
    "in_use_unproven": "in use, disinfection unproven",
    "bag_low": "low by estimate: look at it",
    "part_overdue": "past its limit",
    "part_due": "due within 24 h",
    "disinfect": "waiting for disinfection",
    "prepared_check": "fitted, not used: check",
    "count_missing": "count not read for 30 days",
}


@dataclass(frozen=True)
class Task:
    """One row of the worklist; instants are naive UTC, ``part`` and ``patient_key`` may be empty."""

    site_id: str
    kind: str
    ward: str | None
    unit_id: str
    part: str | None
    patient_key: str | None
    due_at: datetime
    since_h: float


@dataclass(frozen=True)
class DataAge:
    """How old a site's data are: the time from its latest event of any source that the list rests on."""

    site_id: str
    time_zone: str
    latest_at: datetime | None
    age_h: float | None

    @property
    def is_stale(self) -> bool:
        """Whether they are too old to work from, or there are none."""
        return self.age_h is None or self.age_h > STALE_AFTER_H


@dataclass(frozen=True)
class Worklist:
    """What is to be done as of an instant, most urgent first, and what it rests on.

    ``wards`` are all places that have a list, empty or not: (site, ward); a ward of None is not known.
    """

    as_of: datetime
    tasks: tuple[Task, ...]
    ages: tuple[DataAge, ...]
    quiet: tuple[QuietSource, ...]
    wards: tuple[tuple[str, str | None], ...]

    def age_of(self, site_id: str) -> DataAge:
        """Return how old one site's data are."""
        return next(age for age in self.ages if age.site_id == site_id)


def worklist(store: Store, as_of: datetime) -> Worklist:
    """Return the worklist as of an instant (naive UTC); raise NothingToDo when no record began by then."""
    with measured(store, as_of, models_behind("facts.worklist", f"facts.{RHYTHMS}")) as (connection, sites):
        columns = ", ".join(column.name for column in fields(Task))
        listed = _rows(connection, f"select {columns} from facts.worklist order by urgency")
        tasks = tuple(Task(*row) for row in listed)
        places = {
            (site, ward) for site, ward in _rows(connection, "select site_id, ward from facts.unit_places")
        }
        places |= {(task.site_id, task.ward) for task in tasks}
        return Worklist(
            as_of=as_of,
            tasks=tasks,
            ages=tuple(_age(connection, site, rules, as_of) for site, rules in sites.items()),
            quiet=quiet_sources(connection, as_of),
            wards=tuple(sorted(places, key=lambda place: (place[0], place[1] is None, place[1]))),
        )


def of_ward(found: Worklist, ward: str) -> Worklist:
    """Return the rows of one ward, by name without regard to case; raise UsageError for one not known."""
    wanted = ward.strip().casefold()
    wards = tuple(place for place in found.wards if (place[1] or "").casefold() == wanted)
    if not wards:
        known = ", ".join(sorted({name for _, name in found.wards if name})) or "none"
        raise UsageError(f"'{ward}' is no ward of this store. Known: {known}.")
    sites = {site for site, _ in wards}
    return replace(
        found,
        tasks=tuple(task for task in found.tasks if (task.site_id, task.ward) in wards),
        ages=tuple(age for age in found.ages if age.site_id in sites),
        quiet=tuple(source for source in found.quiet if source.site_id in sites),
        wards=wards,
    )


def _age(connection: duckdb.DuckDBPyConnection, site: str, rules: SiteRules, as_of: datetime) -> DataAge:
    query = "select max(last_at) from facts.source_days where site_id = ? and table_name in ?"
    (latest,) = _rows(connection, query, site, list(_SOURCES))[0]
    age_h = None if latest is None else (as_of - latest).total_seconds() / 3600
    return DataAge(site, rules.time_zone, latest, age_h)


def _rows(connection: duckdb.DuckDBPyConnection, query: str, *values: object) -> list[tuple[Any, ...]]:
    return connection.execute(query, list(values)).fetchall()
