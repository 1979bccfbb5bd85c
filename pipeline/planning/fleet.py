"""How many units are enough: Erlang B for the busiest month, with therapy and turnaround both holding a unit."""

from __future__ import annotations

import calendar
import math
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl
from scipy.optimize import brentq
from scipy.stats import poisson

from pipeline.planning.demand import stays_by_month
from pipeline.planning.records import SiteRecords

#: A fleet is enough when no larger a share of arrivals finds every unit held.
SHORTAGE = 0.01

#: Fleet sizes are listed until a shortage is rarer than this.
_RARE = 0.0005

#: Hours of faster turnaround that are tried.
_MOST_FASTER_H = 12


def shortage_probability(units: int, offered_load: float) -> float:
    """Return the share of arrivals that find every unit held: Erlang B, by its recursion.

    B(0) = 1, B(n) = A·B(n−1) / (n + A·B(n−1)); it holds whatever the distribution of the times held.

    >>> round(shortage_probability(4, 2), 6) == round(2 / 21, 6)
    True
    """
    share = 1.0
    for number in range(1, units + 1):
        share = offered_load * share / (number + offered_load * share)
    return share


def units_enough(offered_load: float, shortage: float) -> int:
    """Return the least number of units at which no more than that share of arrivals finds none."""
    units = 0
    while shortage_probability(units, offered_load) > shortage:
        units += 1
    return units


def load_served(units: int, shortage: float) -> float:
    """Return the offered load at which that many units lack for just that share of arrivals."""
    most = units / (1 - shortage) + 1.0  # at most this share of the load is lost, so that no larger one fits
    return float(brentq(lambda load: shortage_probability(units, load) - shortage, 0.0, most))


def units_wanted_at_once(load: float, level: float) -> int:
    """Return the units wanted at one moment that are not exceeded in that share of moments.

    With no limit of units the number held is Poisson about the load, whatever the times held (M/G/infinity).
    """
    return int(poisson.ppf(level, load))


def offered_load(arrivals: float, period_h: float, held_h: float) -> float:
    """Return the units held on average if none ever lacked: arrivals per hour times hours held (Little 1961)."""
    return arrivals / period_h * held_h


@dataclass(frozen=True)
class BusiestMonth:
    """The month in which most units were held: stays started, its hours, and the mean numbers of units.

    ``turnarounds_h`` are the turnarounds of the last year, from a stay's end until reprocessed.
    """

    month: str
    arrivals: int
    period_h: float
    in_use: float
    waiting: float
    turnarounds_h: tuple[float, ...]

    @property
    def stay_h(self) -> float:
        """Hours of therapy in the month for each stay started in it, so that arrivals × hours is the time held."""
        return self.in_use * self.period_h / self.arrivals

    def turnaround_h(self, most_h: float = math.inf, faster_h: float = 0.0) -> float:
        """Hours of waiting likewise, with no turnaround longer than a target, and each faster by some hours."""
        observed = np.array(self.turnarounds_h)
        changed = np.maximum(np.minimum(observed, most_h) - faster_h, 0)
        share = float(changed.sum() / observed.sum()) if observed.sum() else 1.0
        return self.waiting * self.period_h / self.arrivals * share

    def load(self, turnaround_h: float, growth: float = 1.0) -> float:
        """Return the offered load with a mean turnaround."""
        return offered_load(self.arrivals * growth, self.period_h, self.stay_h + turnaround_h)


def busiest_month(records: SiteRecords, closed: frozenset[str] = frozenset()) -> BusiestMonth | None:
    """Return the complete month in which most units were in use or waiting, less those of closed wards.

    None without a stay.
    """
    is_open = pl.col("ward").is_null() | ~pl.col("ward").is_in(["*", *sorted(closed)])
    fleet = records.tables["fleet_monthly"].filter(is_open & pl.col("month").is_in(records.months))
    by_month = fleet.group_by("month").agg(pl.col("mean_in_use").sum(), pl.col("mean_waiting").sum())
    held = by_month.with_columns(held=pl.col("mean_in_use") + pl.col("mean_waiting")).sort("held", "month")
    if not held.height:
        return None
    month, in_use, waiting, _ = held.row(-1)
    arrivals = int(stays_by_month(records, closed)[records.months.index(month)])
    if not arrivals:
        return None
    hours = calendar.monthrange(int(month[:4]), int(month[5:]))[1] * 24.0
    ended = records.tables["turnarounds"].filter(
        (pl.col("status") == "reprocessed") & (pl.col("ended_at") > records.as_of - timedelta(days=365))
    )
    return BusiestMonth(month, arrivals, hours, in_use, waiting, tuple(ended["turnaround_h"].sort()))


def fleet_plan(
    records: SiteRecords, busiest: BusiestMonth, target_h: float, growth: float = 1.0
) -> pl.DataFrame:
    """Return the shortage by fleet size with turnarounds as observed, and with none longer than the target."""
    in_service = units_in_service(records)
    hours = {"observed": busiest.turnaround_h(), "target": busiest.turnaround_h(target_h)}
    loads = {name: busiest.load(turnaround_h, growth) for name, turnaround_h in hours.items()}
    most = max(units_enough(max(loads.values()), _RARE), in_service)
    rows = [
        {
            "site_id": records.site_id,
            "month": busiest.month,
            "turnaround": name,
            "units": units,
            "arrivals_per_day": busiest.arrivals * growth / busiest.period_h * 24,
            "mean_stay_h": busiest.stay_h,
            "mean_turnaround_h": hours[name],
            "offered_load": load,
            "shortage_probability": shortage_probability(units, load),
            "in_service": units == in_service,
        }
        for name, load in loads.items()
        for units in range(1, most + 1)
    ]
    return pl.DataFrame(rows)


def turnaround_gain(records: SiteRecords, busiest: BusiestMonth, growth: float = 1.0) -> pl.DataFrame:
    """Return the load and the units that each hour of faster turnaround frees in the busiest month."""
    longest = int(max(busiest.turnarounds_h, default=0.0)) + 1
    steps = range(min(longest, _MOST_FASTER_H) + 1)
    loads = [busiest.load(busiest.turnaround_h(faster_h=hours), growth) for hours in steps]
    rows = [
        {
            "site_id": records.site_id,
            "faster_h": hours,
            "offered_load": load,
            "units_enough": units_enough(load, SHORTAGE),
            "load_freed": loads[0] - load,
            "units_freed": units_enough(loads[0], SHORTAGE) - units_enough(load, SHORTAGE),
        }
        for hours, load in enumerate(loads)
    ]
    return pl.DataFrame(rows)


def units_in_service(records: SiteRecords) -> int:
    """Return the units in service in the last complete month, 0 where that is not known."""
    fleet = records.tables["fleet_monthly"].filter(
        (pl.col("ward") == "*") & (pl.col("month") == records.months[-1])
    )
    return int(fleet["units_in_service"].sum())
