"""Wards side by side: who is called out, and who is too small to be."""

from __future__ import annotations

import pytest
from results import results

from pipeline.measures.funnel_limits import funnel_limits
from pipeline.measures.intervals import clopper_pearson, rate_limits
from pipeline.signals.funnel import Funnel, funnels
from pipeline.signals.rates import Ratio
from pipeline.signals.series import site_series


def rows(wards: dict[str, tuple[int, int]], month: str = "2026-03") -> list[dict[str, object]]:
    return [
        {"ward": ward, "month": month, "pairs": total, "agrees": total - count, "not_assessable": 0}
        for ward, (count, total) in wards.items()
    ]


def funnel(wards: dict[str, tuple[int, int]]) -> Funnel:
    (found,) = funnels(
        site_series(results(count_check_monthly=rows(wards), as_of="2026-04-30"), "T"), "2026-04"
    )
    return found


ALIKE = {"Alder": (10, 100), "Birch": (12, 100), "Cedar": (8, 100)}


def test_wards_stand_in_the_order_of_the_alphabet_whatever_their_rates():
    assert [ward.ward for ward in funnel({"Cedar": (0, 50), "Alder": (9, 50), "Birch": (4, 50)}).wards] == [
        "Alder", "Birch", "Cedar",
    ]  # fmt: skip


def test_each_ward_has_its_n_exact_limits_and_the_funnels():
    found = funnel(ALIKE)
    alder = found.wards[0]
    assert (alder.count, alder.total) == (90, 100)
    assert (alder.low, alder.high) == clopper_pearson(90, 100)
    assert (alder.limits.outer_low, alder.limits.outer_high) == funnel_limits(100, 0.9, 0.998)
    assert found.centre == 0.9


def test_the_ratio_counts_the_rarer_outcome():
    alder = funnel(ALIKE).wards[0]
    assert (alder.ratio.observed, alder.ratio.expected) == (10, pytest.approx(10))


def test_a_ward_outside_the_outer_limits_is_called_out():
    found = funnel({"Alder": (25, 100), "Birch": (65, 1000), "Cedar": (60, 1000)})
    assert {ward.ward: ward.outside for ward in found.wards} == {"Alder": "below", "Birch": "", "Cedar": ""}
    assert found.sentence.startswith("1 of 3 wards lie outside the 99.8% limits: look further there")


def test_wards_within_the_limits_are_not():
    found = funnel(ALIKE)
    assert {ward.outside for ward in found.wards} == {""}
    assert found.sentence.startswith("No ward of 3 lies outside")


@pytest.mark.parametrize(("events", "outside"), [(4, ""), (5, "below")])
def test_no_ward_is_called_out_at_fewer_than_five_events(events, outside):
    found = funnel({"Alder": (events, 6), "Birch": (0, 3000), "Cedar": (1, 3000)})
    assert found.wards[0].value < found.wards[0].limits.outer_low
    assert found.wards[0].outside == outside


@pytest.mark.parametrize(("total", "outside"), [(49, ""), (300, "above")])
def test_nor_for_having_none_where_fewer_than_five_are_expected(total, outside):
    found = funnel({"Alder": (0, total), "Birch": (900, 9000), "Cedar": (900, 9000)})
    assert found.wards[0].outside == outside


def test_the_months_before_and_after_the_window_do_not_count():
    months = rows({"Alder": (50, 100), "Birch": (1, 100)}, "2025-03") + rows(ALIKE) + rows(ALIKE, "2026-05")
    (found,) = funnels(site_series(results(count_check_monthly=months, as_of="2026-05-30"), "T"), "2026-04")
    assert (found.months[0], found.months[-1], found.total) == ("2025-05", "2026-04", 300)


@pytest.mark.parametrize("wards", [{"Alder": (1, 9)}, {"Alder": (0, 9), "Birch": (0, 9)}, {}])
def test_one_ward_or_no_case_at_all_makes_no_funnel(wards):
    assert (
        funnels(site_series(results(count_check_monthly=rows(wards), as_of="2026-04-30"), "T"), "2026-04")
        == ()
    )


def test_hours_have_no_funnel():
    cover = [
        {"ward": ward, "month": "2026-03", "part": "circuit", "episode_h": 9.0, "in_limit_h": 8.0}
        for ward in ("Alder", "Birch")
    ]
    assert funnels(site_series(results(part_cover_monthly=cover, as_of="2026-04-30"), "T"), "2026-04") == ()


def test_the_curve_spans_the_wards():
    found = funnel({"Alder": (1, 10), "Birch": (90, 1000)})
    assert found.curve[0].total <= 10
    assert found.curve[-1].total >= 1000
    assert len(found.curve) <= 60


# CDC NHSN macro of June 2011 (method published, figures computed): no ratio below one predicted event, no lower
# limit without an observed one.
@pytest.mark.parametrize(
    ("observed", "expected", "shown"),
    [(0, 2.5, (0.0, None, 1.476)), (4, 1.7, (2.353, 0.641, 6.024)), (3, 0.8, (None, 0.773, 10.959))],
)
def test_a_ratio_leaves_blank_what_would_say_nothing(observed, expected, shown):
    ratio = Ratio(observed, expected)
    assert [
        value if value is None else round(value, 3) for value in (ratio.value, ratio.low, ratio.high)
    ] == list(shown)


def test_a_ratio_has_exact_limits():
    assert (Ratio(7, 4.2).low, Ratio(7, 4.2).high) == rate_limits(7, 4.2)
    assert Ratio(0, 0.0).high is None
