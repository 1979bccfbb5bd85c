"""The busiest month, and what faster turnarounds free."""

from __future__ import annotations

from datetime import datetime

import pytest
from planning_site import site, stays_by_month

from pipeline.planning.fleet import (
    BusiestMonth,
    busiest_month,
    fleet_plan,
    shortage_probability,
    turnaround_gain,
    units_in_service,
)
from pipeline.planning.records import SiteRecords

#: 30 days of 24 h; 60 stays that hold 10 units on average, 2 more wait.
JUNE = BusiestMonth("2025-06", 60, 720.0, 10.0, 2.0, (8.0, 16.0, 48.0))


def a_year(**more: list) -> SiteRecords:
    by_month = [("2025-05", 8.0, 4.0), ("2025-06", 10.0, 1.5), ("2025-07", 11.0, 1.2)]
    tables = {
        "stay_parts": stays_by_month([40] * 12),
        "fleet_monthly": [
            (ward, month, 20, in_use / share, waiting / share)
            for month, in_use, waiting in by_month
            for ward, share in (("*", 1), ("Alder", 2), ("Birch", 2))
        ],
        "turnarounds": [(datetime(2025, 6, 5), "reprocessed", 6.0), (datetime(2025, 6, 6), "bypassed", 90.0)],
    }
    return site("2026-01-01 00:00", **{**tables, **more})


def test_the_busiest_month_is_the_one_that_held_most_units_in_use_or_waiting():
    found = busiest_month(a_year())
    assert (found.month, found.arrivals, found.period_h) == ("2025-07", 40, 744)
    assert (found.in_use, found.waiting, found.turnarounds_h) == (11.0, 1.2, (6.0,))


def test_a_closed_wards_units_and_stays_are_left_out():
    birch = [(ward, "u2", *rest) for ward, _, *rest in stays_by_month([10] * 12, ward="Birch")]
    found = busiest_month(a_year(stay_parts=[*stays_by_month([40] * 12), *birch]), frozenset({"Alder"}))
    assert (found.arrivals, found.in_use, found.waiting) == (10, 5.5, 0.6)


def test_arrivals_times_mean_times_held_are_the_units_held():
    assert JUNE.stay_h == 120
    assert JUNE.turnaround_h() == 24
    assert JUNE.load(JUNE.turnaround_h()) == pytest.approx(12)
    assert JUNE.load(JUNE.turnaround_h(), growth=1.5) == pytest.approx(18)


def test_at_target_only_longer_turnarounds_are_shortened():
    # 8, 16 and 48 h become 8, 16 and 24 h: 48 of 72 hours are left.
    assert JUNE.turnaround_h(most_h=24) == pytest.approx(24 * 48 / 72)
    assert JUNE.turnaround_h(most_h=48) == 24


def test_faster_turnarounds_never_fall_below_0():
    # Ten hours faster: 0, 6 and 38 h of 8, 16 and 48 h.
    assert JUNE.turnaround_h(faster_h=10) == pytest.approx(24 * 44 / 72)
    assert JUNE.turnaround_h(faster_h=100) == 0


def test_without_a_turnaround_on_record_the_waiting_stays_as_it_is():
    assert BusiestMonth("2025-06", 60, 720.0, 10.0, 2.0, ()).turnaround_h(most_h=1) == 24


def test_the_fleet_plan_lists_shortages_by_size_observed_and_at_target():
    found = fleet_plan(a_year(), JUNE, 24)
    for name, load in (("observed", 12.0), ("target", 10 + 2 * 48 / 72)):
        rows = found.filter(turnaround=name)
        assert rows["offered_load"].unique().to_list() == [pytest.approx(load)]
        assert rows["units"].to_list() == list(range(1, rows.height + 1))
        shares = [shortage_probability(units, load) for units in rows["units"]]
        assert rows["shortage_probability"].to_list() == pytest.approx(shares)
        assert shares == sorted(shares, reverse=True)


def test_the_size_in_service_is_marked():
    records = a_year(fleet_monthly=[("*", "2025-12", 21, 1.0, 1.0), ("*", "2025-11", 9, 1.0, 1.0)])
    assert units_in_service(records) == 21
    assert fleet_plan(records, JUNE, 24).filter("in_service")["units"].to_list() == [21, 21]


def test_each_hour_of_faster_turnaround_frees_units():
    gain = turnaround_gain(a_year(), JUNE)
    assert gain["faster_h"].to_list() == list(range(13))
    assert gain["load_freed"][0] == 0
    assert gain["load_freed"][1] == pytest.approx(2 * 3 / 72)
    assert gain["units_freed"].to_list() == sorted(gain["units_freed"].to_list())
    assert gain["units_freed"][12] > 0
