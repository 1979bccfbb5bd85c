"""When to order, how much, and how long the stock lasts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from planning_site import move

from pipeline.planning import reorder
from pipeline.planning.projection import Item
from pipeline.planning.reorder import Levels
from pipeline.planning.simulate import generator_for

ITEM = Item(
    "X", "circuit", 10, 20.0, lead_time_days=8, lead_time_sd_days=0, shelf_life_days=None, min_order_packs=2
)
LEVELS = Levels(2.0, 0.0, 10.0, 26.0, 82.0, 28, 10.0, 26.0, 0.1)
TODAY = date(2026, 7, 1)
STEADY = np.tile(2.0 * np.arange(366), (50, 1))  # two pieces a day in every future


def levels(used_by: np.ndarray = STEADY, item: Item = ITEM, level: float = 0.95, moves: tuple = ()) -> Levels:
    return reorder.order_levels(item, used_by, moves, generator_for("T"), level)


def test_a_steady_demand_needs_no_safety_stock():
    found = levels()
    assert (found.need_per_day, found.safety_stock, found.reorder_point) == (2, 0, 16)
    assert found.order_up_to == 16 + 28 * 2
    assert (found.safety_stock_classical, found.reorder_point_classical) == (0, 16)


def test_the_reorder_point_lasts_through_the_wanted_share_of_futures():
    futures = np.outer(np.arange(1, 101) / 8, np.arange(60))  # demand of a lead time: 1 to 100 pieces
    assert levels(futures).reorder_point == 95
    assert levels(futures, level=0.5).reorder_point == 50
    assert levels(futures).safety_stock == pytest.approx(95 - 50.5)


def test_a_lead_time_that_varies_raises_the_safety_stock():
    varying = levels(item=replace(ITEM, lead_time_sd_days=3.0))
    assert varying.safety_stock > 5
    assert varying.safety_stock_classical == pytest.approx(1.644854 * 2 * 3, rel=1e-6)


def test_no_more_is_kept_than_is_used_within_the_shelf_life():
    assert levels(item=replace(ITEM, shelf_life_days=10.0)).order_up_to == 20
    assert levels(item=replace(ITEM, shelf_life_days=5.0)).order_up_to == 16  # never below the reorder point


@pytest.mark.parametrize(("position", "packs"), [(26.1, 0), (26, 6), (22, 6), (21.9, 7), (80, 0), (-5, 9)])
def test_an_order_fills_up_in_whole_packs_once_the_stock_is_at_its_point(position, packs):
    assert reorder.packs_to_order(ITEM, LEVELS, position) == packs


def test_an_order_is_never_below_the_least_one():
    assert reorder.packs_to_order(replace(ITEM, min_order_packs=9), LEVELS, 26) == 9
    assert (
        reorder.packs_to_order(replace(ITEM, min_order_packs=0), replace(LEVELS, order_up_to=26.0), 26) == 1
    )


def orders(*days: str) -> list:
    return [move("ordered", 50, day) for day in days]


def test_the_interval_is_the_median_of_days_between_orders():
    assert reorder.order_interval(orders("2026-01-01", "2026-01-11", "2026-01-31", "2026-03-01")) == 20


@pytest.mark.parametrize(
    "days", [(), ("2026-01-01", "2026-01-11"), ("2026-01-01", "2026-01-01", "2026-01-11")]
)
def test_too_few_orders_make_no_habit(days):
    assert reorder.order_interval(orders(*days)) == 28


@pytest.mark.parametrize(("packs", "outside"), [(15, False), (16, True)])
def test_an_order_of_more_than_three_times_the_largest_is_outside_history(packs, outside):
    assert (
        reorder.is_outside_history(ITEM, packs, orders("2026-01-01", "2026-02-01", "2026-03-01")) is outside
    )


def test_without_three_orders_on_record_nothing_is_outside_history():
    assert not reorder.is_outside_history(ITEM, 1000, orders("2026-01-01", "2026-02-01"))


def test_the_stock_runs_out_on_the_first_day_that_wants_more_than_there_is():
    slow, fast = np.arange(101) * 1.0, np.arange(101) * 2.0
    futures = np.array([fast] * 2 + [slow] * 8)
    assert reorder.run_out_days(40, np.zeros(101), futures) == (21, 41)


def test_stock_that_lasts_beyond_the_plan_has_no_run_out_day():
    assert reorder.run_out_days(1000, np.zeros(366), STEADY) == (None, None)


def test_what_is_on_its_way_prolongs_the_stock_from_the_day_it_comes():
    arrivals = np.zeros(366)
    arrivals[15] = 20
    assert reorder.run_out_days(30, arrivals, STEADY)[0] == 26
    arrivals[15], arrivals[17] = 0, 20
    assert reorder.run_out_days(30, arrivals, STEADY)[0] == 16


def test_open_orders_come_a_lead_time_after_they_were_placed_and_tomorrow_at_the_earliest():
    moves = [
        move("count", 50, "2026-06-01"),
        move("ordered", 10, "2026-06-28"),
        move("ordered", 20, "2026-06-15"),
    ]
    held = reorder.supply(ITEM, sorted(moves, key=lambda one: one.moved_at), TODAY, 30)
    assert held.on_order == 30
    assert {day: pieces for day, pieces in enumerate(held.arrivals) if pieces} == {1: 20, 5: 10}


def test_an_order_that_never_came_and_a_lot_that_expired_are_not_counted_on():
    moves = [
        move("ordered", 10, "2026-01-01"),
        move("receipt", 4, "2026-02-01", expires_on="2026-06-30"),
        move("receipt", 6, "2026-02-02", expires_on="2027-06-30"),
    ]
    held = reorder.supply(ITEM, moves, TODAY, 30)
    assert (held.on_hand, held.usable, held.on_order) == (10, 6, 0)
    never = reorder.supply(
        ITEM, [move("count", 1, "2026-01-01"), move("ordered", 10, "2026-01-02")], TODAY, 30
    )
    assert never.on_order == 0


def test_orders_ahead_keep_the_stock_above_nothing_and_cover_the_demand():
    held = reorder.supply(ITEM, [move("count", 40, "2026-06-30")], TODAY, 365)
    found = levels()
    ahead = reorder.orders_ahead(ITEM, found, held, STEADY.mean(axis=0))
    bought = sum(packs for _, packs in ahead) * ITEM.pack_size
    assert 40 + bought >= 2 * (365 - ITEM.lead_time_days)
    stock_left, coming = 40.0, {day + 8: packs * 10 for day, packs in ahead}
    for day in range(1, 365):
        stock_left += coming.get(day, 0) - 2
        assert stock_left >= 0, day
