"""Complete months, and wards that close or open."""

from __future__ import annotations

import numpy as np
import pytest
from planning_site import site, stay, stays_by_month

from pipeline.planning import demand as planned
from pipeline.planning.need import stay_pool
from pipeline.planning.records import SiteRecords, month_after
from pipeline.planning.simulate import FUTURES, simulate

CLOSED = '[[events]]\nkind = "ward_closed"\non = {on}\nward = "Birch"\n'
OPENED = '[[events]]\nkind = "ward_opened"\non = {on}\nward = "{ward}"\n'


def two_wards(rules: str = "") -> SiteRecords:
    """A year with 10 stays a month on Alder and 30 on Birch, known to the end of 2025."""
    birch = [(ward, "u2", *rest) for ward, _, *rest in stays_by_month([30] * 12, ward="Birch")]
    rows = [*stays_by_month([10] * 12), *birch]
    return site("2026-01-01 00:00", rules, stay_parts=rows)


def ahead(records: SiteRecords, months: int = 12, growth: float = 1.0) -> list[float]:
    found = planned.demand(records, stay_pool(records, records.rules), months, growth)
    assert found is not None
    return [float(np.median(month.stays)) for month in found.ahead]


@pytest.mark.parametrize(
    ("as_of", "last"),
    [("2026-05-31 23:59", "2026-05"), ("2026-05-31 00:00", "2026-05"), ("2026-05-30 23:59", "2026-04")],
)
def test_a_month_is_complete_when_less_than_a_day_of_it_is_missing(as_of, last):
    records = site(as_of, stay_parts=[stay("2026-03-02 08:00"), stay("2026-05-02 08:00", stay_no=2)])
    assert records.months[-1] == last


@pytest.mark.parametrize(
    ("first_day", "first"), [("2026-03-08 00:00", "2026-03"), ("2026-03-08 00:01", "2026-04")]
)
def test_records_that_begin_after_the_first_week_leave_their_month_incomplete(first_day, first):
    assert site("2026-06-30 23:00", stay_parts=[stay(first_day)]).months[0] == first


def test_history_begins_anew_after_a_month_that_is_not_on_record():
    records = site(
        stay_parts=[stay("2026-01-02 08:00")],
        covered_months=[
            ("episodes", month) for month in ("2026-01", "2026-02", "2026-04", "2026-05", "2026-06")
        ],
    )
    assert records.months == ("2026-04", "2026-05", "2026-06")


def test_a_covered_month_without_a_stay_counts_as_none():
    records = site(stay_parts=[stay("2026-04-02 08:00"), stay("2026-06-02 08:00", stay_no=2)])
    assert planned.stays_by_month(records).tolist() == [1, 0, 1]


def test_two_months_are_too_few_to_forecast_from():
    records = site(
        "2026-03-01 00:00", stay_parts=[stay("2026-01-02 08:00"), stay("2026-02-02 08:00", stay_no=2)]
    )
    assert planned.demand(records, stay_pool(records, records.rules), 12) is None


def test_the_months_ahead_follow_the_last_complete_one():
    records = two_wards()
    found = planned.demand(records, stay_pool(records, records.rules), 3)
    assert [(month.month, month.days) for month in found.ahead] == [
        ("2026-01", 31),
        ("2026-02", 28),
        ("2026-03", 31),
    ]


def test_growth_multiplies_every_month():
    plain, grown = ahead(two_wards(), 3), ahead(two_wards(), 3, 1.2)
    assert plain == pytest.approx([40, 40, 40], abs=1)
    assert grown == pytest.approx([48, 48, 48], abs=1)


@pytest.mark.parametrize(("on", "closed_from"), [("2026-03-15", 2), ("2026-03-16", 3), ("2025-01-01", 0)])
def test_a_closed_wards_stays_fall_away_from_the_month_in_whose_middle_it_is_closed(on, closed_from):
    medians = ahead(two_wards(CLOSED.format(on=on)), 6)
    assert medians == pytest.approx([40] * closed_from + [10] * (6 - closed_from), abs=1)


def test_a_ward_that_opens_again_counts_again():
    rules = CLOSED.format(on="2026-02-01") + OPENED.format(on="2026-04-01", ward="Birch")
    assert ahead(two_wards(rules), 4) == pytest.approx([40, 10, 10, 40], abs=1)


def test_a_new_ward_adds_the_stays_that_are_declared():
    rules = OPENED.format(on="2026-02-01", ward="Elder") + "stays_per_month = 25"
    assert ahead(two_wards(rules), 3) == pytest.approx([40, 65, 65], abs=2)


def test_a_closed_wards_stays_are_not_drawn_any_more():
    rows = stays_by_month([10] * 12, hours=24) + stays_by_month([10] * 12, ward="Birch", hours=400)
    rows = [(ward, f"unit-{ward}", *rest) for ward, _, *rest in rows]
    records = site("2026-01-01 00:00", CLOSED.format(on="2025-06-01"), stay_parts=rows)
    found = planned.demand(records, stay_pool(records, records.rules), 2)
    futures = simulate("T", found.ahead)
    assert (futures.pieces["rules", "circuit"] == futures.stays).all()


def test_simulated_need_is_stays_times_the_mean_need_of_a_stay():
    rows = [
        stay(
            f"{month_after('2025-01', number)}-{day:02d} 08:00",
            hours=100 if day % 2 else 300,
            stay_no=number * 100 + day,
        )
        for number in range(12)
        for day in range(1, 21)
    ]
    records = site("2026-01-01 00:00", stay_parts=rows)
    found = planned.demand(records, stay_pool(records, records.rules), 12)
    futures = simulate("T", found.ahead)
    each = futures.pieces["rules", "circuit"].sum() / futures.stays.sum()
    assert futures.stays.shape == (FUTURES, 12)
    assert each == pytest.approx(1.5, abs=0.01)
    assert futures.therapy_days.sum() / futures.stays.sum() == pytest.approx(200 / 24, rel=0.01)
    assert futures.supply["circuit"].shape == (FUTURES, 365)
    assert (futures.supply["circuit"].sum(axis=1) == futures.pieces["supplied", "circuit"].sum(axis=1)).all()
