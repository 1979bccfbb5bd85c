"""What is found wrong with the record of stock."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import polars as pl
import pytest
from planning_site import move, site, stay, stays_by_month

from pipeline.planning.assumptions import Assumptions
from pipeline.planning.projection import items_of
from pipeline.planning.site_plan import site_plan
from pipeline.planning.stock_checks import suspected_unit_errors

ITEM = ("X", "circuit", 10.0, 20.0, 8.0, 2.0, 400.0, 1.0)
AT = datetime(2026, 1, 1)


def usual(kind: str, pieces: float, number: int = 8) -> list:
    return [move(kind, pieces, f"2026-0{month + 1}-01", ref=f"{kind}{month}") for month in range(number)]


@pytest.mark.parametrize(("pieces", "caught"), [(150, False), (151, True), (500, True)])
def test_an_issue_far_above_all_others_may_be_packs_meant_as_pieces(pieces, caught):
    moves = [*usual("issue", 30), move("issue", pieces, "2026-09-05", ref="odd")]
    assert ("odd" in suspected_unit_errors(moves, 10)) is caught


def test_a_busy_week_among_uneven_ones_is_no_unit_error():
    uneven = [
        move("issue", pieces, "2026-01-01", ref=str(pieces)) for pieces in (1, 2, 3, 4, 5, 20, 22, 24, 40, 60)
    ]
    assert suspected_unit_errors(uneven, 10) == {}


@pytest.mark.parametrize(("pieces", "caught"), [(5, True), (7, True), (10, False), (50, False), (1, False)])
def test_an_order_of_as_many_pieces_as_it_usually_has_packs_is_caught(pieces, caught):
    moves = [*usual("ordered", 50), move("ordered", pieces, "2026-09-05", ref="odd")]
    assert ("odd" in suspected_unit_errors(moves, 10)) is caught


def test_few_movements_and_single_pieces_make_no_history():
    assert suspected_unit_errors([*usual("issue", 3, 4), move("issue", 900, "2026-09-05")], 10) == {}
    assert suspected_unit_errors([*usual("issue", 3), move("issue", 900, "2026-09-05")], 1) == {}


def planned(ledger: list, items: tuple = (ITEM,), **more: list) -> Mapping[str, pl.DataFrame]:
    """Return the planning tables of a site with twenty stays a month, up to the end of 2025."""
    more.setdefault("stay_parts", stays_by_month([20] * 12))
    records = site("2026-01-01 00:00", stock_ledger=ledger, purchase_items=items, **more)
    return site_plan(records, Assumptions(records.rules, items_of(records)), 12).tables


def codes(ledger: list, items: tuple = (ITEM,), **more: list) -> set[str]:
    found = planned(ledger, items, **more)
    assert found["projection"].height, "the rest of the plan is there all the same"
    return set(found["plan_findings"]["code"]) if "plan_findings" in found else set()


def row(kind: str, quantity: float, on: str, item: str = "X", location: str | None = "store") -> tuple:
    at = datetime.fromisoformat(on)
    return (f"{kind}{on}{item}{location}", item, at, kind, quantity, location, None, None)


def test_a_clean_record_gives_no_findings():
    assert codes([row("count", 100, "2025-12-01"), row("issue", 10, "2025-12-15", location="Alder")]) == set()


def test_without_stock_movements_the_need_is_planned_all_the_same():
    assert codes([]) == {"no_stock_data"}


def test_without_items_the_need_is_in_pieces():
    assert codes([row("count", 100, "2025-12-01")], ()) == {"no_items", "item_without_part"}


def test_an_item_that_is_not_in_the_list_is_named():
    assert codes([row("count", 100, "2025-12-01"), row("count", 5, "2025-12-01", "Y")]) == {
        "item_without_part"
    }
    fitted = [("2025-12", "circuit", "Z", "due", False, 3, None)]
    assert codes([row("count", 100, "2025-12-01")], fitting_reasons=fitted) == {"item_without_part"}


def test_a_part_that_is_fitted_and_has_no_item_is_named():
    bags = stays_by_month([20] * 12, part="water_bag")
    assert codes([row("count", 100, "2025-12-01")], stay_parts=[*stays_by_month([20] * 12), *bags]) == {
        "part_without_items"
    }


def test_a_price_of_0_is_named():
    assert codes([row("count", 100, "2025-12-01")], ((*ITEM[:3], 0.0, *ITEM[4:]),)) == {"no_price"}


def test_more_issued_than_there_was_is_named():
    assert codes([row("receipt", 10, "2025-12-01"), row("issue", 11, "2025-12-02")]) == {"negative_stock"}


def test_more_returned_than_issued_is_named():
    ledger = [row("count", 10, "2025-12-01"), row("issue", 5, "2025-12-02"), row("return", 6, "2025-12-03")]
    assert codes(ledger) == {"returns_above_issues"}


def test_an_item_without_a_count_or_receipt_has_no_known_stock():
    assert codes([row("issue", 5, "2025-12-02")]) == {"no_stock_data"}


def test_an_order_that_never_came_is_named():
    assert codes([row("count", 100, "2025-06-01"), row("ordered", 50, "2025-11-01")]) == {"order_overdue"}


def test_a_count_on_a_ward_is_named():
    ledger = [row("receipt", 100, "2025-12-01"), row("count", 4, "2025-12-02", location="Alder")]
    assert codes(ledger) == {"count_elsewhere"}


def test_lots_that_expired_or_will_before_use_are_named():
    gone = ("r1", "X", AT.replace(year=2025), "receipt", 30.0, "store", "L1", datetime(2025, 12, 30).date())
    soon = ("r2", "X", AT.replace(year=2025), "receipt", 500.0, "store", "L2", datetime(2026, 2, 1).date())
    assert codes([gone, soon]) == {"lot_expired", "expiring_unused"}


def test_an_order_far_above_every_order_on_record_is_a_finding_and_no_order():
    small = [row("ordered", 2, f"2025-0{month}-01") for month in (1, 2, 3)]
    ledger = [*small, row("receipt", 6, "2025-06-01"), row("count", 1, "2025-12-30")]
    found = planned(ledger)
    assert found["stock_plan"]["order_packs"].to_list() == [None]
    assert found["plan_findings"]["code"].to_list() == ["order_outside_history"]
    assert "order_budget" not in found


def test_a_suspected_unit_error_is_left_out_of_the_stock_and_of_what_is_on_its_way():
    history = [row("ordered", 50, f"2025-{month:02d}-01") for month in range(1, 9)]
    received = [row("receipt", 50, f"2025-{month:02d}-09") for month in range(1, 9)]
    ledger = [*history, *received, row("count", 80, "2025-12-01"), row("ordered", 5, "2025-12-28")]
    found = planned(ledger)
    assert found["plan_findings"]["code"].to_list() == ["unit_error"]
    assert found["stock_plan"]["on_order"].to_list() == [0]


def test_two_months_of_history_plan_no_orders_and_say_so():
    records = site(
        "2026-03-01 00:00",
        stay_parts=[stay("2026-01-02 08:00"), stay("2026-02-02 08:00", stay_no=2)],
        stock_ledger=[row("count", 80, "2026-01-01")],
        purchase_items=[ITEM],
    )
    found = site_plan(records, Assumptions(records.rules, items_of(records)), 12).tables
    assert found["plan_findings"]["code"].to_list() == ["short_history"]
    assert found["stock_plan"].select("on_hand", "order_packs").rows() == [(80, None)]
    assert "projection" not in found


@pytest.mark.parametrize(("issued", "factor"), [(100.0, 1.0), (150.0, 1.5)])
def test_orders_cover_what_the_stores_lose_on_the_way_to_the_patient(issued, factor):
    ledger = [row("count", 100, "2025-12-01")]
    plain = planned(ledger)["stock_plan"]
    used = [("*", "2025-12", "circuit", 20, 20, 100, issued)]
    wasteful = planned(ledger, part_use_monthly=used)["stock_plan"]
    assert wasteful["need_per_day"][0] == pytest.approx(factor * plain["need_per_day"][0])
