"""Stock from movements and counts."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from planning_site import frame, move

from pipeline.planning import stock
from pipeline.planning.stock import Lot, OpenOrder, moves_by_item

TODAY = date(2026, 7, 1)


def test_a_count_is_the_absolute_stock_of_its_moment():
    moves = [
        move("count", 100, "2026-01-01"),
        move("issue", 30, "2026-01-02"),
        move("count", 60, "2026-01-03"),
        move("receipt", 20, "2026-01-04"),
        move("issue", 5, "2026-01-05"),
        move("return", 2, "2026-01-06"),
        move("write_off", 1, "2026-01-07"),
    ]
    assert [pieces for _, pieces in stock.levels(moves)] == [100, 70, 60, 80, 75, 77, 76]
    assert stock.on_hand(moves) == 76


def test_an_order_changes_nothing_until_it_is_received():
    assert stock.on_hand([move("count", 10, "2026-01-01"), move("ordered", 50, "2026-01-02")]) == 10


def test_at_one_instant_a_count_comes_last():
    at = datetime(2026, 1, 1)
    rows = [
        ("m1", "X", at, "count", 40.0, "store", None, None),
        ("m2", "X", at, "issue", 10.0, "Alder", None, None),
    ]
    ordered = moves_by_item(frame("stock_ledger", rows))["X"]
    assert ([one.kind for one in ordered], stock.on_hand(ordered)) == (["issue", "count"], 40)


def test_an_issue_to_a_ward_leaves_the_store_and_a_wards_own_count_is_none_of_the_stores():
    moves = [
        move("receipt", 100, "2026-01-01"),
        move("issue", 30, "2026-01-02", location="Alder"),
        move("count", 4, "2026-01-03", location="Alder"),
    ]
    assert stock.stores(moves) == {"store"}
    assert stock.on_hand(moves) == 70


def test_two_stores_are_counted_apart_and_issues_come_from_the_one_that_receives_most():
    moves = [
        move("receipt", 100, "2026-01-01", location="main"),
        move("receipt", 20, "2026-01-01", location="annexe"),
        move("issue", 30, "2026-01-02", location="Alder"),
        move("issue", 5, "2026-01-03", location="annexe"),
        move("count", 60, "2026-01-04", location="main"),
    ]
    assert [pieces for _, pieces in stock.levels(moves)] == [100, 120, 90, 85, 75]


def test_without_a_count_or_receipt_issues_go_below_nothing():
    assert stock.on_hand([move("issue", 3, "2026-01-01")]) == -3
    assert stock.on_hand([]) == 0


def test_receipts_fill_the_oldest_orders_first():
    moves = [
        move("ordered", 50, "2026-06-01"),
        move("ordered", 30, "2026-06-10"),
        move("receipt", 60, "2026-06-20"),
    ]
    left = stock.open_orders(moves)
    assert [(order.ordered_at.date(), order.pieces) for order in left] == [(date(2026, 6, 10), 20)]


def test_a_receipt_that_no_order_on_record_explains_fills_none_to_come():
    moves = [move("receipt", 60, "2026-06-01"), move("ordered", 30, "2026-06-10")]
    assert [order.pieces for order in stock.open_orders(moves)] == [30]


@pytest.mark.parametrize(
    ("ordered_on", "lead_days", "overdue"),
    [
        ("2026-06-01", 15, False),
        ("2026-05-31", 15, True),
        ("2026-06-14", 3, False),
        ("2026-06-13", 3, True),
    ],
    ids=["two lead times", "a day later", "a fortnight after a short one", "a day after that"],
)
def test_an_order_is_overdue_after_two_lead_times_or_a_fortnight_late(ordered_on, lead_days, overdue):
    order = OpenOrder(move("ordered", 1, ordered_on).moved_at, 1)
    assert order.is_overdue(TODAY, lead_days) is overdue


def test_what_is_left_came_with_the_receipts_that_expire_last():
    moves = [
        move("receipt", 40, "2026-01-01", expires_on="2026-09-01"),
        move("receipt", 40, "2026-02-01", expires_on="2026-12-01"),
        move("issue", 50, "2026-03-01"),
    ]
    assert stock.lots_left(moves) == (Lot(30, date(2026, 12, 1)),)


def test_stock_from_before_the_records_has_no_known_expiry_and_comes_last():
    moves = [move("count", 100, "2026-01-01"), move("receipt", 20, "2026-02-01", expires_on="2026-09-01")]
    assert stock.lots_left(moves) == (Lot(20, date(2026, 9, 1)), Lot(100, None))


def test_pieces_that_expire_before_they_are_used_are_lost_first_expired_first():
    lots = (Lot(30, date(2026, 7, 11)), Lot(30, date(2026, 7, 21)), Lot(50, None))
    one_a_day = [float(day) for day in range(31)]
    assert stock.expiring_unused(lots, TODAY, one_a_day) == 20 + 20


def test_demand_goes_on_at_its_mean_rate_beyond_the_last_day():
    lots = (Lot(100, date(2026, 10, 9)),)
    assert stock.expiring_unused(lots, TODAY, [0.0, 1.0, 2.0]) == 0
    assert stock.expiring_unused(lots, TODAY, [0.0, 0.5, 1.0]) == 50


@pytest.mark.parametrize(("last_day", "gone"), [("2026-06-30", 30), ("2026-07-01", 0)])
def test_a_lot_may_be_used_on_its_last_day(last_day, gone):
    assert stock.expired((Lot(30, date.fromisoformat(last_day)), Lot(5, None)), TODAY) == gone
