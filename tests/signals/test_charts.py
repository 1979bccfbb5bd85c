"""Control charts by month: which kind, whether at all, and what they say."""

from __future__ import annotations

import pytest
from results import rules_of, series

from pipeline.measures.control_charts import laney_p_chart, laney_u_chart, p_chart
from pipeline.measures.intervals import wilson
from pipeline.signals.charts import monthly_chart, why_thin
from pipeline.signals.series import AMOUNTS, HOURS

#: Twelve months of shares that differ as chance has it, and twelve that differ by far more.
STEADY = [9.0, 11, 10, 12, 8, 10, 9, 11, 10, 12, 8, 10]
SCATTERED = [2.0, 20, 3, 18, 2, 19, 4, 17, 3, 20, 2, 18]
HUNDREDS = [100.0] * 12


def limits(points):
    return [(point.lower, point.centre, point.upper) for point in points]


def test_shares_that_differ_as_chance_has_it_have_a_p_chart():
    chart = monthly_chart(series(STEADY, HUNDREDS), rules_of())
    assert {point.chart for point in chart.points} == {"p"}
    assert limits(chart.points) == limits(p_chart(STEADY, HUNDREDS))
    assert not chart.stretches[0].dispersion.is_shown


def test_shares_that_differ_by_more_have_a_p_prime_chart_with_the_test_that_says_so():
    chart = monthly_chart(series(SCATTERED, HUNDREDS), rules_of())
    assert {point.chart for point in chart.points} == {"laney_p"}
    assert limits(chart.points) == limits(laney_p_chart(SCATTERED, HUNDREDS))
    assert chart.stretches[0].dispersion.probability < 0.01


def test_over_dispersion_that_months_side_by_side_do_not_show_is_none():
    # Two levels: chi-squared is large, but the months' steps are small, so p' would narrow the limits.
    levels = [5.0] * 6 + [20.0] * 6
    chart = monthly_chart(series(levels, HUNDREDS), rules_of())
    assert chart.stretches[0].dispersion.spread < 1
    assert chart.points[0].chart == "p"


def test_hours_and_amounts_always_have_laneys_charts():
    hours = monthly_chart(series(STEADY, HUNDREDS, HOURS, "part_cover:circuit"), rules_of())
    amounts = monthly_chart(series(STEADY, HUNDREDS, AMOUNTS, "water_per_therapy_day"), rules_of())
    assert limits(hours.points) == limits(laney_p_chart(STEADY, HUNDREDS))
    assert limits(amounts.points) == limits(laney_u_chart(STEADY, HUNDREDS))


def test_a_share_has_its_n_and_wilsons_interval():
    point = monthly_chart(series(STEADY, HUNDREDS), rules_of()).points[0]
    assert (point.count, point.total) == (9, 100)
    assert (point.low, point.high) == wilson(9, 100)


def test_an_interval_of_hours_is_as_wide_as_months_differ():
    chart = monthly_chart(series(SCATTERED, HUNDREDS, HOURS, "part_cover:circuit"), rules_of())
    point = chart.points[1]
    spread = chart.stretches[0].dispersion.spread
    assert point.high - point.value == pytest.approx(1.959964 * spread * (0.2 * 0.8 / 100) ** 0.5, rel=1e-6)


def test_the_interval_of_hours_stays_within_0_and_1():
    chart = monthly_chart(series(SCATTERED, [20.0] * 12, HOURS, "part_cover:circuit"), rules_of())
    assert all(0 <= point.low <= point.high <= 1 for point in chart.points)


@pytest.mark.parametrize(("rarer", "drawn"), [(12, True), (11, False)])
def test_a_chart_of_shares_needs_one_of_the_rarer_outcome_a_month(rarer, drawn):
    few = [float(position < rarer) for position in range(12)]
    assert (monthly_chart(series(few, HUNDREDS), rules_of()) is not None) is drawn
    many = [100 - count for count in few]
    assert (monthly_chart(series(many, HUNDREDS), rules_of()) is not None) is drawn


def test_what_is_too_thin_says_how_thin_it_is():
    few = series([1.0] + [0.0] * 11, HUNDREDS)
    assert why_thin(few, 3) == (
        "No chart for the site: 1 in 1,200 over 12 months; a chart by month needs 1 a month on average in its "
        "baseline, and one of the gaps between them 8 gaps."
    )
    assert why_thin(series([1.0] * 5, [9.0] * 5), None).startswith(
        "No chart for the site: 5 assessable months"
    )
    assert "do not differ" in why_thin(series([9.0] * 6, [9.0] * 6, HOURS), None)


def test_a_month_without_a_denominator_has_no_value():
    chart = monthly_chart(series([*STEADY, 0], [*HUNDREDS, 0]), rules_of())
    assert chart.points[-1].value is None
    assert chart.points[-1].low is None


def test_the_rule_set_of_the_site_names_the_signals():
    six_rising = [*STEADY, 5, 6, 7, 8, 9, 10]
    totals = [100.0] * 18
    own = monthly_chart(series(six_rising, totals), rules_of())
    nelson = monthly_chart(series(six_rising, totals), rules_of('signal_rules = "nelson_1984"'))
    assert (own.rule_set, own.points[-1].signal) == ("limits_and_runs", "")
    assert (nelson.rule_set, nelson.points[-1].signal) == ("nelson_1984", "six_rising_or_falling")


CHANGE = '[[events]]\nkind = "change"\nwhat = "round"\non = 2026-01-01\n'


def test_after_a_change_the_months_are_judged_by_their_own_baseline():
    after = [count + 20 for count in STEADY]
    chart = monthly_chart(series(STEADY + after, HUNDREDS * 2), rules_of(CHANGE))
    assert [part.from_period for part in chart.stretches] == ["2025-01", "2026-01"]
    assert chart.stretches[1].change.what == "round"
    assert limits(chart.points[12:]) == limits(p_chart(after, HUNDREDS))
    assert {point.signal for point in chart.points} == {""}


def test_without_the_change_declared_the_same_months_are_signals():
    after = [count + 20 for count in STEADY]
    chart = monthly_chart(series(STEADY + after, HUNDREDS * 2), rules_of())
    assert {point.signal for point in chart.points[12:]} == {"beyond_limits"}


def test_a_run_does_not_go_on_over_a_change():
    counts = [*[12.0, 8.0] * 4, *[11.0] * 4, *[11.0] * 4, *[9.0] * 8]
    chart = monthly_chart(series(counts, [100.0] * 24), rules_of(CHANGE))
    assert chart.points[15].signal == ""


def test_runs_of_the_whole_course_are_tested_from_ten_months_on():
    assert monthly_chart(series(STEADY[:6], HUNDREDS[:6]), rules_of()).run_test is None
    assert monthly_chart(series(SCATTERED, HUNDREDS), rules_of()).run_test.crossings == 11
