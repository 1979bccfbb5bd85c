"""Need, packs and money by part and item; shares, waste and early changes."""

from __future__ import annotations

import math
from datetime import datetime
from itertools import pairwise

import polars as pl
import pytest
from planning_site import site, stay, stays_by_month

from pipeline.planning import shares
from pipeline.planning.assumptions import Assumptions
from pipeline.planning.back_test_table import back_test_table
from pipeline.planning.demand import demand
from pipeline.planning.demand import stays_by_month as counted
from pipeline.planning.need import stay_pool
from pipeline.planning.projection import items_of, spans
from pipeline.planning.records import SiteRecords
from pipeline.planning.site_plan import site_plan

ITEMS = [
    ("CIR-A", "circuit", 10.0, 200.0, 8.0, 2.0, None, 1.0),
    ("CIR-B", "circuit", 4.0, 100.0, 8.0, None, None, None),
]
FITTED = [
    ("2025-11", "circuit", "CIR-A", "due", True, 30, 60.0),
    ("2025-12", "circuit", "CIR-B", "soiled", True, 10, 400.0),
    ("2025-12", "circuit", "CIR-B", "new_patient", False, 80, None),
]
USED = [("*", "2025-12", "circuit", 20, 20, 100, 110.0), ("*", "2025-11", "circuit", 20, 20, 50, None)]


def records(**more: list) -> SiteRecords:
    tables = {
        "stay_parts": stays_by_month([20] * 12, hours=100),
        "purchase_items": ITEMS,
        "fitting_reasons": FITTED,
        "part_use_monthly": USED,
        **more,
    }
    return site("2026-01-01 00:00", **tables)


@pytest.fixture(scope="module")
def tables() -> dict[str, pl.DataFrame]:
    found = records()
    return dict(site_plan(found, Assumptions(found.rules, items_of(found)), 12).tables)


@pytest.mark.parametrize(
    ("months", "years"), [(6, [(0, 6)]), (12, [(0, 12)]), (18, [(0, 12)]), (24, [(0, 12), (12, 24)])]
)
def test_single_months_and_whole_years_are_summed(months, years):
    found = spans(tuple(map(str, range(months))))
    assert [(one.start, one.stop) for one in found[months:]] == years


def test_a_site_without_years_to_come_is_summed_over_all_its_months(tables):
    year = tables["projection"].filter(pl.col("from_month") != pl.col("to_month"))
    assert year["from_month"].unique().to_list() == ["2026-01"]
    assert year["to_month"].unique().to_list() == ["2026-12"]
    assert tables["projection"].height == 3 * 13


def test_a_years_need_is_about_the_months_together(tables):
    whole = tables["projection"].filter(pl.col("item_id").is_null())
    is_year = pl.col("from_month") != pl.col("to_month")
    year = whole.filter(is_year).row(0, named=True)
    assert year["need_mean"] == pytest.approx(whole.filter(~is_year)["need_mean"].sum())
    assert year["need_mean"] == pytest.approx(240, rel=0.05)
    assert year["need_p10"] < year["need_p50"] < year["need_p90"]
    assert (
        year["need_p90"] - year["need_p10"]
        < whole.filter(~is_year).select(pl.col("need_p90").sum() - pl.col("need_p10").sum()).item()
    )


def test_items_share_a_part_as_they_were_fitted(tables):
    year = tables["projection"].filter(pl.col("from_month") != pl.col("to_month"))
    need = dict(year.drop_nulls("item_id").select("item_id", "need_mean").iter_rows())
    assert need["CIR-A"] / sum(need.values()) == pytest.approx(0.25, abs=0.01)
    assert sum(need.values()) == pytest.approx(year.filter(pl.col("item_id").is_null())["need_mean"][0])


def test_an_item_is_bought_in_whole_packs(tables):
    sizes, prices = {"CIR-A": 10, "CIR-B": 4}, {"CIR-A": 200, "CIR-B": 100}
    for row in tables["projection"].drop_nulls("item_id").iter_rows(named=True):
        packs = math.ceil(row["need_p90"] / sizes[row["item_id"]])
        assert (row["packs_p90"], row["cost_p90"]) == (packs, packs * prices[row["item_id"]])


def test_full_compliance_adds_what_practice_left_out():
    # Half the stays needed two circuits and were given one; the other half took three where one was needed.
    days = [(month, day) for month in range(1, 13) for day in range(1, 11)]
    short = [stay(f"2025-{month:02d}-{day:02d} 08:00", 200, stay_no=month * 100 + day) for month, day in days]
    early = [
        stay(f"2025-{month:02d}-{day + 10} 08:00", 24, stay_no=month * 100 + day + 10, fitted=3)
        for month, day in days
    ]
    found = records(stay_parts=[*short, *early])
    cost = site_plan(found, Assumptions(found.rules, items_of(found)), 12).tables["compliance_cost"]
    pieces = cost.select(pl.col("rules_pieces", "practised_pieces", "added_pieces").sum()).row(0)
    stays = pieces[0] / 1.5
    assert pieces == pytest.approx((1.5 * stays, 2 * stays, 0.5 * stays), rel=0.02)
    one = cost.filter(item_id="CIR-B").row(0, named=True)
    assert one["added_cost"] == pytest.approx(one["added_pieces"] * 25)


def test_shares_come_from_fittings_else_from_issues_else_are_equal():
    at = datetime(2025, 12, 1)
    rows = [
        (item, item, at, "issue", pieces, "Alder", None, None)
        for item, pieces in (("CIR-A", 30.0), ("CIR-B", 10.0))
    ]
    assert shares.item_shares(records(), "circuit") == {"CIR-A": 0.25, "CIR-B": 0.75}
    unfitted = records(fitting_reasons=[], stock_ledger=rows)
    assert shares.item_shares(unfitted, "circuit") == {"CIR-A": 0.75, "CIR-B": 0.25}
    assert shares.item_shares(records(fitting_reasons=[]), "circuit") == {"CIR-A": 0.5, "CIR-B": 0.5}
    assert shares.item_shares(records(purchase_items=[]), "circuit") == {}


def test_waste_is_read_from_months_that_know_both_sides():
    row = shares.waste(records()).row(0, named=True)
    assert (row["needed"], row["fitted"], row["issued"]) == (40, 150, 110)
    assert row["issued_to_fitted"] == pytest.approx(1.1)


@pytest.mark.parametrize(("issued", "factor"), [(110.0, 1.1), (90.0, 1.0), (300.0, 2.0), (None, 1.0)])
def test_orders_cover_the_stores_waste_within_reason(issued, factor):
    used = [("*", "2025-12", "circuit", 20, 20, 100, issued)]
    assert shares.issue_factor(shares.waste(records(part_use_monthly=used)), "circuit") == pytest.approx(
        factor
    )


def test_early_changes_are_told_by_reason():
    found = shares.early_changes(records())
    assert found.select("reason", "changes", "mean_before_limit_h").rows() == [
        ("due", 30, 2.0),
        ("soiled", 10, 40.0),
    ]


def test_water_is_told_as_poured_as_whole_bags_and_as_hung():
    water = [("*", "2025-12", 50_000.0, 80_000.0, 1.6), ("*", "2025-11", 10_000.0, None, None)]
    bags = [("*", "2025-12", "water_bag", 20, 30, 40, None)]
    row = shares.water_practice(records(water_monthly=water, part_use_monthly=bags)).row(0, named=True)
    assert row["hung_to_modelled"] == pytest.approx(1.6)
    assert (row["bags_of_modelled_water"], row["whole_bags_by_stay"], row["bags_hung"]) == (30, 30, 40)
    assert shares.water_practice(records()).height == 0


def test_a_parts_back_test_is_of_the_need_that_came():
    # Stays are the same each month; from July on each needs two circuits, which no forecast of stays can know.
    later = [
        (*row[:2], row[2] + 9000, *row[3:]) for row in stays_by_month([10] * 6, first="2025-07", hours=200)
    ]
    found = site("2026-01-01 00:00", stay_parts=[*stays_by_month([10] * 6, hours=24), *later])
    coming = demand(found, stay_pool(found, found.rules), 3)
    table = back_test_table(found, coming.forecast, counted(found)).filter(method="mean_12_months")
    assert dict(table.select("part", "folds").iter_rows()) == {"*": 9, "circuit": 9}
    # Ten a month up to June, twenty from July on; forecast is ten times the mean need of the stays known by then.
    needed = [10.0] * 6 + [20.0] * 6
    off = []
    for origin in range(3, 12):
        forecast = sum(needed[:origin]) / origin
        steps = [abs(later - before) for before, later in pairwise(needed[:origin])]
        actual = needed[origin : origin + 3]
        if sum(steps):
            off.append(
                sum(abs(value - forecast) for value in actual) / len(actual) / (sum(steps) / len(steps))
            )
    assert table.filter(part="circuit")["mase"][0] == pytest.approx(sum(off) / len(off))
