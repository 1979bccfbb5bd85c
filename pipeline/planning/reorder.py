"""When to order an item and how much: demand over the lead time simulated, the classical formula beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from statistics import median

import numpy as np
from numpy.typing import NDArray

from pipeline.planning import stock, stock_formulas
from pipeline.planning.projection import Item
from pipeline.planning.stock import Move

Values = NDArray[np.float64]

#: Share of lead times in which the stock lasts.
SERVICE_LEVEL = 0.95

#: Days between orders where the record shows no habit.
_USUAL_INTERVAL = 28
_LEAST_ORDERS = 3

#: The near future that need_per_day is taken from.
_NEAR_DAYS = 91

#: A proposed order of more than this many times the largest one on record is checked, not proposed.
_FAR_OUTSIDE = 3


@dataclass(frozen=True)
class Supply:
    """What is in store and coming. ``arrivals[n]`` are the pieces expected n days after as_of."""

    on_hand: float
    usable: float
    on_order: float
    arrivals: Values
    lots: tuple[stock.Lot, ...]


@dataclass(frozen=True)
class Levels:
    """The levels that orders are made by, in pieces; ``interval_days`` lies between two orders.

    The classical ones take days as independent; the simulated ones know that a month as a whole may run high.
    """

    need_per_day: float
    need_per_day_sd: float
    safety_stock: float
    reorder_point: float
    order_up_to: float
    interval_days: int
    safety_stock_classical: float
    reorder_point_classical: float
    expected_shortage: float


def supply(item: Item, moves: Sequence[Move], as_of_day: date, days: int) -> Supply:
    """Return what is in store, less what has expired, and when open orders should come."""
    held, lots = stock.on_hand(moves), stock.lots_left(moves)
    orders = [
        order for order in stock.open_orders(moves) if not order.is_overdue(as_of_day, item.lead_time_days)
    ]
    arrivals = np.zeros(days + 1)
    for order in orders:
        due = order.ordered_at.date() + timedelta(days=round(item.lead_time_days))
        arrivals[min(max((due - as_of_day).days, 1), days)] += order.pieces
    usable = max(held - stock.expired(lots, as_of_day), 0.0)
    return Supply(held, usable, float(arrivals.sum()), arrivals, lots)


def order_levels(
    item: Item,
    used_by: Values,
    moves: Sequence[Move],
    generator: np.random.Generator,
    level: float = SERVICE_LEVEL,
) -> Levels:
    """Return the levels from simulated demand; ``used_by`` is futures × days, the demand within n days."""
    futures, last = used_by.shape[0], used_by.shape[1] - 1
    drawn = generator.normal(item.lead_time_days, item.lead_time_sd_days, futures)
    lead = np.clip(np.rint(drawn), 0, last).astype(int)
    demand = used_by[np.arange(futures), lead]
    point = math.ceil(np.percentile(demand, 100 * level, method="inverted_cdf"))
    daily = np.diff(used_by[:, : min(_NEAR_DAYS, last) + 1], axis=1)
    per_day, per_day_sd = float(daily.mean()), float(daily.std())
    interval = order_interval(moves)
    mean = float(demand.mean())
    up_to = max(math.ceil(min(point + per_day * interval, shelf_limit(item, per_day))), point)
    classical = _classical(item, per_day, per_day_sd, stock_formulas.z_of_level(level))
    return Levels(per_day, per_day_sd, point - mean, point, up_to, interval, *classical)


def shelf_limit(item: Item, per_day: float) -> float:
    """Return the pieces that are used within an item's shelf life; more would expire."""
    return item.shelf_life_days * per_day if item.shelf_life_days else math.inf


def _classical(item: Item, per_day: float, per_day_sd: float, z: float) -> tuple[float, float, float]:
    """Return safety stock, reorder point and expected shortage from the mean and spread of single days."""
    deviation = stock_formulas.lead_time_deviation(
        per_day, per_day_sd, item.lead_time_days, item.lead_time_sd_days
    )
    return (
        stock_formulas.safety_stock(z, deviation),
        stock_formulas.reorder_point(per_day * item.lead_time_days, deviation, z),
        stock_formulas.expected_shortage(deviation, z),
    )


def order_interval(moves: Sequence[Move]) -> int:
    """Return the usual days between two orders."""
    days = sorted({move.moved_at.date() for move in moves if move.kind == "ordered"})
    if len(days) < _LEAST_ORDERS:
        return _USUAL_INTERVAL
    apart = [(later - earlier).days for earlier, later in pairwise(days)]
    return max(round(median(apart)), 1)


def packs_to_order(item: Item, levels: Levels, position: float) -> int:
    """Return the whole packs that fill the stock up, none while it stands above the reorder point."""
    if position > levels.reorder_point:
        return 0
    return max(math.ceil((levels.order_up_to - position) / item.pack_size), item.min_order_packs, 1)


def is_outside_history(item: Item, packs: int, moves: Sequence[Move]) -> bool:
    """Return whether an order is so far above all orders on record that it has to be checked first."""
    orders = [move.quantity for move in moves if move.kind == "ordered"]
    return len(orders) >= _LEAST_ORDERS and packs * item.pack_size > _FAR_OUTSIDE * max(orders)


def run_out_days(usable: float, arrivals: Values, used_by: Values) -> tuple[int | None, int | None]:
    """Return the days until the stock, with what is on its way, runs out: in 1 of 10 futures, and in half."""
    short = usable + np.cumsum(arrivals) < used_by
    first = np.where(short.any(axis=1), short.argmax(axis=1), used_by.shape[1])
    early, middle = (int(np.percentile(first, level, method="inverted_cdf")) for level in (10, 50))
    return tuple(day if day < used_by.shape[1] else None for day in (early, middle))  # type: ignore[return-value]


def orders_ahead(item: Item, levels: Levels, held: Supply, expected_by: Values) -> list[tuple[int, int]]:
    """Return (days from as_of, packs) of the orders that the levels lead to if demand runs as expected.

    Both levels follow the season: the mean demand of the coming lead time and interval, and the safety stock.
    """
    last, lead = len(expected_by) - 1, round(item.lead_time_days)
    position, found = held.usable + held.on_order, []
    for day in range(last):
        used = float(expected_by[day])
        by_lead, by_next = (
            float(expected_by[min(day + ahead, last)]) - used for ahead in (lead, lead + levels.interval_days)
        )
        season = replace(
            levels, reorder_point=by_lead + levels.safety_stock, order_up_to=by_next + levels.safety_stock
        )
        if packs := packs_to_order(item, season, position - used):
            found.append((day, packs))
            position += packs * item.pack_size
    return found
