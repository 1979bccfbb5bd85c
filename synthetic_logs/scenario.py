"""The invented Tarnholt hospitals: names, practice and the parameters of a run; nothing was measured."""

from __future__ import annotations

import datetime
import zlib
from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.errors import UsageError

MINUTE, HOUR, DAY = 60, 3600, 86400
TIME_ZONE = "Europe/Dublin"
ZONE = ZoneInfo(TIME_ZONE)
#: Weekly replacement of circuits and interfaces, as both invented sites have it in their rules.
PART_LIMIT_S = 7 * DAY
BAG_ML = 2000
#: From this month on, Rowan's circuit changes come later and later.
ROWAN_DRIFT_FROM = "2026-03"


@dataclass(frozen=True)
class Ward:
    """One ward. ``share`` is its part of the site's units, ``late_share`` of part changes that overrun,
    ``late_charting`` of fittings charted after the start, ``wait_h`` the median hours before disinfection,
    ``stay_days`` the median stay, ``patients`` the usual number at the daily count."""

    name: str
    share: float
    late_share: float
    late_charting: float
    wait_h: float
    stay_days: float
    patients: int


@dataclass(frozen=True)
class Site:
    """One hospital; its units are numbered from ``first_unit`` on in the pattern ``unit_name``.

    ``states_site``: its files have a column site_id. ``charts_by_patient``: every part changed names the
    patient, interfaces the patient alone. ``loses_a_month``: one month's disinfection file never came.
    """

    site_id: str
    name: str
    letter: str
    share: float
    unit_name: str
    first_unit: int
    wards: tuple[Ward, ...]
    states_site: bool
    charts_by_patient: bool
    loses_a_month: bool
    max_storage_days: int | None = None


NORTH = Site(
    "TARN-N",
    "Tarnholt North",
    "N",
    0.58,
    "N-{:03d}",
    1,
    (
        Ward("Alder", 0.2, 0.03, 0.06, 2.5, 2.6, 24),
        Ward("Birch", 0.2, 0.06, 0.12, 4.0, 3.0, 26),
        Ward("Cedar", 0.25, 0.04, 0.05, 3.0, 2.8, 18),
        Ward("Rowan", 0.35, 0.05, 0.10, 5.0, 4.4, 30),
    ),
    states_site=True,
    charts_by_patient=False,
    loses_a_month=False,
)
SOUTH = Site(
    "TARN-S",
    "Tarnholt South",
    "S",
    0.42,
    "{:05d}",
    711,
    (
        Ward("Hazel", 0.3, 0.03, 0.05, 2.0, 2.5, 22),
        Ward("Larch", 0.3, 0.05, 0.10, 3.5, 3.2, 28),
        Ward("Willow", 0.4, 0.07, 0.15, 6.0, 3.4, 26),
    ),
    states_site=False,
    charts_by_patient=True,
    loses_a_month=True,
    max_storage_days=14,
)
SITES = (NORTH, SOUTH)


@dataclass(frozen=True)
class Unit:
    """One unit of a site's fleet; instants in seconds since 1970 UTC."""

    unit_id: str
    ward: Ward
    in_service_on: datetime.date
    available_from: int
    retired_on: datetime.date | None
    available_to: int
    logs_samples: bool
    logs_set_point: bool
    logs_temperatures: bool


@dataclass(frozen=True)
class Scenario:
    """The parameters of a run."""

    months: int = 18
    units: int = 60
    sample_minutes: int = 5
    seed: int = 20261101
    first_month: str = "2025-05"

    def __post_init__(self) -> None:
        """Refuse what cannot be simulated."""
        if self.months < 1 or self.units < 2 or self.sample_minutes not in (1, 5) or self.seed < 0:
            raise UsageError("synthetic logs need months >= 1, units >= 2, sample_minutes 1 or 5, seed >= 0.")
        try:
            datetime.date.fromisoformat(f"{self.first_month}-01")
        except ValueError as error:
            raise UsageError(
                f"first_month is '{self.first_month}'; write a month such as 2025-05."
            ) from error

    @cached_property
    def month_names(self) -> tuple[str, ...]:
        """The months simulated, such as ``2025-05``, and the one after the last."""
        year, month = map(int, self.first_month.split("-"))
        firsts = range(year * 12 + month - 1, year * 12 + month + self.months)
        return tuple(f"{number // 12:04d}-{number % 12 + 1:02d}" for number in firsts)

    @cached_property
    def edges(self) -> tuple[int, ...]:
        """The start of each month of `month_names`: local midnight, in seconds since 1970 UTC."""
        return tuple(midnight(datetime.date.fromisoformat(f"{name}-01")) for name in self.month_names)

    @property
    def start(self) -> int:
        """The first instant of the simulated time."""
        return self.edges[0]

    @property
    def end(self) -> int:
        """The instant up to which the exports reach."""
        return self.edges[-1]

    def month_of(self, instant: int) -> str:
        """Return the local month of an instant, the nearest one when it lies outside the simulated time."""
        return self.month_names[min(max(bisect_right(self.edges, instant) - 1, 0), self.months - 1)]

    def stream(self, *concern: str) -> np.random.Generator:
        """Return the concern's own random numbers: drawing more for one concern shifts no other."""
        words = [zlib.crc32(word.encode()) for word in concern]
        return np.random.Generator(np.random.PCG64(np.random.SeedSequence([self.seed, *words])))

    def undelivered_month(self, site: Site) -> int | None:
        """Return the number of the month whose disinfection file never came; None where there is none."""
        return self.months * 2 // 3 if site.loses_a_month and self.months >= 4 else None


def midnight(day: datetime.date) -> int:
    """Return the local midnight that begins the day, in seconds since 1970 UTC."""
    return int(datetime.datetime(day.year, day.month, day.day, tzinfo=ZONE).timestamp())


def local_date(instant: int) -> datetime.date:
    """Return the local calendar day of an instant."""
    return datetime.datetime.fromtimestamp(instant, ZONE).date()


def iso(instant: int) -> str:
    """Return an instant as exports write it.

    >>> iso(0)
    '1970-01-01T00:00:00Z'
    """
    return datetime.datetime.fromtimestamp(instant, datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def site_units(scenario: Scenario, site: Site) -> int:
    """Return how many of the scenario's units the site has."""
    north = min(max(round(scenario.units * NORTH.share), 1), scenario.units - 1)
    return north if site is NORTH else scenario.units - north


def fleet(scenario: Scenario, site: Site) -> tuple[Unit, ...]:
    """Return the site's units: a few log sessions only, one comes late and one is retired in longer runs."""
    number = site_units(scenario, site)
    generator = scenario.stream("fleet", site.site_id)
    bounds = np.cumsum([ward.share for ward in site.wards]) * number
    logs_set_point = generator.random(number) < 0.6
    first_day = local_date(scenario.start)
    units = []
    for index in range(number):
        arrives = (
            scenario.edges[scenario.months // 3] if index == number // 2 and number >= 8 else scenario.start
        )
        retires = scenario.edges[scenario.months * 3 // 4] if index == number // 3 and number >= 8 else None
        units.append(
            Unit(
                site.unit_name.format(site.first_unit + index),
                site.wards[int(np.searchsorted(bounds[:-1], index, side="right"))],
                local_date(arrives) if arrives > scenario.start else first_day - datetime.timedelta(days=400),
                arrives,
                local_date(retires) if retires else None,
                retires or scenario.end + 365 * DAY,
                logs_samples=index % 16 != 11,
                logs_set_point=bool(logs_set_point[index]),
                logs_temperatures=index % 7 == 2,
            )
        )
    return tuple(units)
