"""Disposables: when circuits, interfaces and water bags are fitted, and which item and lot is taken."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from synthetic_logs.cycles import whole_minute
from synthetic_logs.scenario import BAG_ML, DAY, HOUR, MINUTE, Scenario, Site, local_date
from synthetic_logs.stays import Leg
from synthetic_logs.usage import ML_PER_LITRE

#: Nothing is fitted in the last hours of a leg, where it could be taken for the next patient's.
LAST_FITTING_S = 150 * MINUTE
#: The longest that a bag hangs, however low the flow.
LONGEST_BAG_S = 46 * HOUR

#: Leg, unit, patient, part, instant, reason: the columns of `PART_COLUMNS`.
Fitting = tuple[int, str, str, str, int, str]

PART_COLUMNS = {
    "leg": pl.Int64,
    "unit_id": pl.String,
    "patient_ref": pl.String,
    "part": pl.String,
    "fitted_at": pl.Int64,
    "reason": pl.String,
}


@dataclass(frozen=True)
class Item:
    """What purchasing can order, as in the table ``items``; ``share`` of its part's use."""

    item_id: str
    part: str
    pack_size: int
    unit_price: float
    lead_time_days: int
    lead_time_sd_days: float
    shelf_life_days: int
    min_order_packs: int
    share: float


ITEMS = (
    Item("CIR-STD", "circuit", 10, 268.0, 9, 2.0, 1095, 1, 0.7),
    Item("CIR-LONG", "circuit", 10, 294.5, 14, 4.0, 1095, 1, 0.3),
    Item("INT-SMALL", "interface", 20, 212.0, 8, 2.0, 1460, 1, 0.25),
    Item("INT-MEDIUM", "interface", 20, 212.0, 8, 2.0, 1460, 1, 0.5),
    Item("INT-LARGE", "interface", 20, 218.0, 12, 3.0, 1460, 1, 0.25),
    Item("BAG-2000", "water_bag", 24, 61.2, 5, 1.0, 730, 4, 0.8),
    Item("BAG-2000-B", "water_bag", 30, 81.0, 12, 3.0, 730, 2, 0.2),
)


def part_changes_table(scenario: Scenario, site: Site, legs: list[Leg], phases: pl.DataFrame) -> pl.DataFrame:
    """Return every part fitted, by time; ``leg`` is the number in ``legs`` of the leg it was fitted for."""
    practice = {ward.name: ward.late_charting for ward in site.wards}
    generator = scenario.stream("parts", site.site_id)
    rows: list[Fitting] = []
    for (number, leg), curve in zip(enumerate(legs), water_curves(phases), strict=True):
        first = _first_fitting(leg, practice[leg.ward], generator)
        rows += _fittings(number, leg, "circuit", _weekly(first, leg.ended_at, generator, 0.05))
        first = _first_fitting(leg, practice[leg.ward], generator)
        rows += _fittings(number, leg, "water_bag", _bags(first, leg.ended_at, curve, generator))
    rows += _interfaces(legs, practice, generator)
    fitted = pl.DataFrame(rows, schema=PART_COLUMNS, orient="row").filter(pl.col("fitted_at") < scenario.end)
    fitted = fitted.sort("fitted_at", "unit_id", "part")
    return _with_items(fitted, scenario.stream("items", site.site_id))


def _fittings(number: int, leg: Leg, part: str, times: list[int]) -> list[Fitting]:
    reasons = ["new_patient"] + ["due"] * (len(times) - 1)
    return [
        (number, leg.unit_id, leg.patient_ref, part, at, reason)
        for at, reason in zip(times, reasons, strict=True)
    ]


def _first_fitting(leg: Leg, late_charting: float, generator: np.random.Generator) -> int:
    """Return when the first part of a leg is charted: before the start, or up to 90 minutes after it."""
    early, late, is_late = (
        generator.integers(5, 50),
        generator.integers(10, 91),
        generator.random() < late_charting,
    )
    return leg.started_at + int(late if is_late else -early) * MINUTE


def _weekly(first: int, ended_at: int, generator: np.random.Generator, soiled: float) -> list[int]:
    """Return the times of fitting, each at most 6.9 days after the one before, some much sooner."""
    times = [first]
    while True:
        days = float(np.clip(generator.normal(6.45, 0.25), 5.5, 6.9))
        if generator.random() < soiled:
            days = float(generator.uniform(1.5, 5))
        following = whole_minute(times[-1] + days * DAY)
        if following >= ended_at - HOUR:
            return times
        times.append(min(following, ended_at - LAST_FITTING_S))


def water_curves(phases: pl.DataFrame) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Yield for each leg the bounds of its phases and the water (mL) that therapy has used by each."""
    phase = phases["phase"].to_numpy()
    starts, ends = phases["started_at"].to_numpy(), phases["ended_at"].to_numpy()
    used = np.where(
        phase == "in_use", phases["flow_l_min"].to_numpy() * (ends - starts) / MINUTE * ML_PER_LITRE, 0
    )
    cuts = np.flatnonzero(np.diff(phases["leg"].to_numpy())) + 1
    for start, end, ml in zip(
        np.split(starts, cuts), np.split(ends, cuts), np.split(used, cuts), strict=True
    ):
        yield np.append(start[:1], end), np.append(0.0, np.cumsum(ml))


def _bags(
    first: int, ended_at: int, curve: tuple[np.ndarray, np.ndarray], generator: np.random.Generator
) -> list[int]:
    """Return when bags are hung: each before the water of the one in place runs out."""
    bounds, used = curve
    times = [first]
    while True:
        share = generator.uniform(0.8, 0.95)
        wanted = np.interp(times[-1], bounds, used) + share * BAG_ML
        empty_at = np.interp(wanted, used, bounds) if wanted < used[-1] else ended_at
        following = whole_minute(min(empty_at, times[-1] + LONGEST_BAG_S))
        if following >= ended_at - 20 * MINUTE:
            return times
        times.append(min(following, ended_at - LAST_FITTING_S))


def _interfaces(legs: list[Leg], practice: dict[str, float], generator: np.random.Generator) -> list[Fitting]:
    """Return the interfaces, which go with the patient from unit to unit within a stay."""
    stays: dict[int, list[int]] = {}
    for number, leg in enumerate(legs):
        stays.setdefault(leg.stay, []).append(number)
    rows: list[Fitting] = []
    for numbers in stays.values():
        leg, last = legs[numbers[0]], legs[numbers[-1]]
        first = _first_fitting(leg, practice[leg.ward], generator)
        for at, reason in zip(
            times := _weekly(first, last.ended_at, generator, 0.15),
            ["new_patient"] + ["due"] * (len(times) - 1),
            strict=True,
        ):
            number = next((n for n in numbers if at < legs[n].ended_at), numbers[-1])
            fitted_at = max(at, legs[number].started_at + 30 * MINUTE) if at != first else at
            rows.append((number, legs[number].unit_id, leg.patient_ref, "interface", fitted_at, reason))
    return rows


def _with_items(fitted: pl.DataFrame, generator: np.random.Generator) -> pl.DataFrame:
    """Add what was taken from the shelf: item, lot (one every two months) and expiry."""
    pick = generator.random(fitted.height)
    item_ids = np.empty(fitted.height, dtype=object)
    for part in dict.fromkeys(item.part for item in ITEMS):
        items = [item for item in ITEMS if item.part == part]
        rows = np.flatnonzero((fitted["part"] == part).to_numpy())
        bounds = np.cumsum([item.share for item in items])[:-1]
        item_ids[rows] = np.array([item.item_id for item in items])[np.searchsorted(bounds, pick[rows])]
    shelf = {item.item_id: item.shelf_life_days for item in ITEMS}
    lots = [lot_at(item_id, at) for item_id, at in zip(item_ids, fitted["fitted_at"], strict=True)]
    return fitted.with_columns(
        pl.Series("item_id", item_ids.tolist(), dtype=pl.String),
        pl.Series("lot", [lot for lot, _ in lots], dtype=pl.String),
        pl.Series(
            "expires_on",
            [
                made + datetime.timedelta(days=shelf[item])
                for item, (_, made) in zip(item_ids, lots, strict=True)
            ],
            dtype=pl.Date,
        ),
        pl.when(pl.col("part") == "water_bag").then(pl.lit(BAG_ML)).alias("volume_ml"),
    )


def lot_at(item_id: str, instant: int) -> tuple[str, datetime.date]:
    """Return the lot in use at an instant, and the day it was made: about three months before."""
    day = local_date(instant)
    made = datetime.date(day.year, day.month - (day.month - 1) % 2, 1) - datetime.timedelta(days=90)
    return f"{item_id}-{made:%y%m}", made
