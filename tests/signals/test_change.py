"""Before and after a declared change."""

from __future__ import annotations

import math

import pytest
from results import months, results

from pipeline.measures.intervals import rate_ratio_limits
from pipeline.signals.change import Comparison, comparisons
from pipeline.signals.series import site_series


def compared(
    amiss: list[int], on: str = "2026-01-01", more: str = "", until: str = "2026-12"
) -> list[Comparison]:
    rows = [
        {"month": month, "pairs": 100, "agrees": 100 - count, "not_assessable": 0}
        for month, count in zip(months(len(amiss)), amiss, strict=True)
    ]
    rules = f'[[events]]\nkind = "change"\nwhat = "a new round"\non = {on}\n{more}'
    found = results(rules, "2028-12-31", count_check_monthly=rows)
    return list(comparisons(site_series(found, "T"), found.sites["T"], until))


def test_a_ratio_has_exact_limits_and_counts_what_went_amiss():
    (found,) = compared([4] * 12 + [2] * 12)
    assert (found.before.events, found.before.exposure) == (48, 1200)
    assert (found.after.events, found.ratio) == (24, 0.5)
    assert found.limits == rate_ratio_limits(24, 1200, 48, 1200)
    assert "more than chance explains, which does not show that the change is the reason" in found.sentence


def test_what_chance_may_explain_is_said_to_be_so():
    (found,) = compared([2] * 12 + [3] * 12)
    assert "chance alone may explain it" in found.sentence


def test_the_month_of_the_change_counts_on_neither_side_unless_it_came_on_the_first_day():
    (found,) = compared([4] * 24, "2026-01-02")
    assert (found.months_before[-1], found.months_after[0]) == ("2025-12", "2026-02")
    (found,) = compared([4] * 24, "2026-01-01")
    assert (found.months_before[-1], found.months_after[0]) == ("2025-12", "2026-01")


def test_no_more_than_twelve_months_on_either_side():
    (found,) = compared([4] * 40, "2026-06-01", until="2028-12")
    assert (len(found.months_before), len(found.months_after)) == (12, 12)


@pytest.mark.parametrize(("count", "thin"), [(14, True), (15, False)])
def test_three_months_on_either_side_are_needed(count, thin):
    (found,) = compared([4] * count)
    assert found.too_thin is thin
    assert (found.ratio is None) is thin
    assert found.sentence.startswith("Too thin to compare: 2 whole months since") is thin


@pytest.mark.parametrize(("events", "thin"), [(4, True), (5, False)])
def test_fewer_than_five_events_tell_nothing(events, thin):
    (found,) = compared([0] * 12 + [1] * events + [0] * (12 - events))
    assert found.too_thin is thin


def test_none_before_leaves_a_limit_but_no_ratio():
    (found,) = compared([0] * 12 + [1] * 12)
    assert found.ratio is None
    assert found.limits[1] == math.inf
    assert "none went amiss before, so no ratio can be given" in found.sentence


def test_months_after_the_report_do_not_count():
    (found,) = compared([4] * 24, until="2026-04")
    assert found.months_after[-1] == "2026-04"


def test_another_change_ends_the_time_after_and_begins_the_time_before():
    second = '[[events]]\nkind = "change"\nwhat = "another"\non = 2026-06-15'
    first, later = compared([4] * 24, "2025-08-01", second)
    assert (first.months_before[0], first.months_after[-1]) == ("2025-01", "2026-05")
    assert (later.months_before[0], later.months_after[0]) == ("2025-09", "2026-07")


def test_limits_are_said_to_be_too_narrow_where_the_months_before_vary_by_more_than_chance():
    (found,) = compared([2, 20, 1, 22, 2, 20, 1, 22, 2, 20, 1, 22] + [11] * 12)
    assert "these limits are too narrow" in found.sentence


def test_without_a_declared_change_nothing_is_compared():
    assert comparisons(site_series(results(), "T"), results().sites["T"], "2026-12") == ()
