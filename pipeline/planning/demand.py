"""Stays to come, month by month: the forecast, with declared openings and closings of wards."""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from pipeline.planning.forecast import LEAST_MONTHS, Forecast, forecast
from pipeline.planning.need import StayPool
from pipeline.planning.records import SiteRecords, month_after
from pipeline.planning.simulate import FUTURES, MonthAhead, Pieces, generator_for
from pipeline.site_events import SiteEvent


@dataclass(frozen=True)
class Demand:
    """The forecast of the whole site's stays, and the months to come with what is declared of wards."""

    forecast: Forecast
    ahead: tuple[MonthAhead, ...]


def stays_by_month(records: SiteRecords, without: set[str] | frozenset[str] = frozenset()) -> np.ndarray:
    """Return the stays started in each complete month, 0 included, less those of some wards."""
    stays = records.tables["stay_parts"].unique(["unit_id", "stay_no"])
    counted = dict(
        stays.filter(~pl.col("ward").is_in(sorted(without)).fill_null(False))
        .group_by("month")
        .len()
        .iter_rows()
    )
    return np.array([counted.get(month, 0) for month in records.months], dtype=float)


def demand(records: SiteRecords, pool: StayPool, horizon: int, growth: float = 1.0) -> Demand | None:
    """Return the demand of the months after the last complete one; None where history is too short.

    ``growth`` multiplies the stays of every month. Months with the same wards closed share one forecast, made
    without those wards' stays from the beginning.
    """
    if len(records.months) < LEAST_MONTHS or not len(pool):
        return None
    months = [month_after(records.months[-1], number) for number in range(1, horizon + 1)]
    closed = [closed_wards(records.rules.events, month) for month in months]
    whole = forecast(stays_by_month(records), horizon)
    paths: dict[frozenset[str], Pieces] = {frozenset(): _paths(records, whole, growth)}
    for wards in sorted(set(closed) - {frozenset()}, key=sorted):
        paths[wards] = _paths(records, forecast(stays_by_month(records, wards), horizon), growth)
    ahead = [
        MonthAhead(
            month,
            calendar.monthrange(int(month[:4]), int(month[5:]))[1],
            paths[wards][:, number] + _opened(records, month),
            pool.without(set(wards)),
        )
        for number, (month, wards) in enumerate(zip(months, closed, strict=True))
    ]
    return Demand(whole, tuple(ahead))


def closed_wards(events: Sequence[SiteEvent], month: str) -> frozenset[str]:
    """Return the wards that are closed at the middle of a month."""
    middle = date.fromisoformat(f"{month}-15")
    last = {
        event.ward: event.kind
        for event in events
        if event.ward and event.on <= middle and event.kind != "change"
    }
    return frozenset(ward for ward, kind in last.items() if kind == "ward_closed")


def _opened(records: SiteRecords, month: str) -> Pieces:
    """Return the stays that wards new to the records add, as the rules declare them."""
    middle = date.fromisoformat(f"{month}-15")
    known = set(records.tables["stay_parts"]["ward"].drop_nulls())
    expected = sum(
        event.stays_per_month or 0
        for event in records.rules.events
        if event.kind == "ward_opened" and event.on <= middle and event.ward not in known
    )
    return generator_for(records.site_id, month, "opened").poisson(expected, FUTURES)


def _paths(records: SiteRecords, found: Forecast, growth: float) -> Pieces:
    paths = found.paths(FUTURES, generator_for(records.site_id, "stays"))
    return np.rint(paths * growth).astype(np.int64)
