"""Control charts against published examples; `memory` marks sources that were not opened.

The centre lines of the 432-row hospital_infections data (R qicharts2) are left out: that table is published in a
binary format of R only, and its centre lines are the same division as below.
"""

import pytest
from scipy.stats import chi2_contingency, chisquare

from pipeline.measures.control_charts import (
    Dispersion,
    Point,
    g_chart,
    individuals_chart,
    laney_p_chart,
    laney_u_chart,
    p_chart,
    rate_dispersion,
    share_dispersion,
    t_chart,
    u_chart,
)
from pipeline.measures.run_rules import signals


def numbers(text: str) -> list[float]:
    return [float(number) if "." in number else int(number) for number in text.split()]


# Montgomery, Introduction to Statistical Quality Control, 2nd ed. pp. 152-155 (R qcc vignette): of 50 each.
ORANGE_JUICE = numbers("12 15 8 10 4 7 16 9 14 10 5 6 17 12 22 8 10 5 13 11 20 18 24 15 9 12 7 13 9 6")

# Montgomery, Statistical Quality Control, table 7.4 (limits: R qicharts2 tbl_7.4_1.rds).
PURCHASE_ERRORS = numbers("12 8 6 9 10 12 11 16 10 6 20 15 9 8 6 8 10 7 5 8 5 8 10 6 9")
PURCHASE_ORDERS = numbers(
    """
    100 80 80 100 110 110 100 100 90 90 110 120 120 120 110 80 80 80 90 100 100 100 100 90 90
    """
)

# Montgomery, 2nd ed. pp. 173-175 (R qcc vignette): nonconformities on circuit boards.
CIRCUIT_BOARDS = numbers("21 24 16 12 15 5 28 20 31 25 20 24 16 19 10 17 13 22 18 39 30 24 16 19 17 15")

# NIST/SEMATECH e-Handbook 6.3.3.1 (memory): defects on 25 wafers.
WAFERS = numbers("16 14 28 16 12 20 10 12 10 17 19 17 14 16 15 13 14 16 11 20 11 19 16 31 13")

# Montgomery pp. 181-182 (R qcc vignette): nonconformities in samples of 5 computers.
COMPUTERS = numbers("10 12 8 14 10 16 11 7 10 15 9 5 7 11 12 6 8 10 7 5")

# Montgomery example 7.4 (limits: R qicharts2 ex_7.4_1.rds): errors in 50 shipments.
SHIPPING_ERRORS = numbers("2 3 8 1 1 4 1 4 5 1 8 2 4 3 4 1 8 3 7 4")

# NIST/SEMATECH e-Handbook 6.3.2.2.
NIST_INDIVIDUALS = numbers("49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1")

# Montgomery example 6.5 (limits: R qicharts2 ex_6.5_3.rds): cost of a mortgage, 40 weeks.
MORTGAGE_COSTS = numbers(
    """
    310 288 297 298 307 303 294 297 308 306 294 299 297 299 314 295 293 306 301 304 305 282 305 296 314 295
    287 301 298 311 310 292 305 299 304 310 304 305 333 328
    """
)

# Montgomery example 7.6 (limits: R qicharts2 ex_7.6_1.rds): hours between failures of a valve.
VALVE_HOURS = numbers("286 948 536 124 816 729 4 143 431 8 2837 596 81 227 603 492 1199 1214 2831 96")

# Mohammed & Laney, Qual Saf Health Care 2006;15:439 (R qicharts2 nhs_accidents); limits computed by the
# algorithm of Laney, Quality Engineering 2002;14:531-537.
SEEN_IN_TIME = numbers(
    """
    266501 264225 276532 281461 269071 261215 270409 279778 270483 270320 267923 271478 255353 256820 261835
    259144 255910 260863 264465 260989
    """
)
ATTENDANCES = numbers(
    """
    280443 276823 291681 296155 282343 275888 283867 295251 284468 282529 279618 283932 266629 268091 276803
    271578 266005 273520 278574 273772
    """
)

# Monthly C. difficile infections, Capital Region of Denmark, two years before and one after a change (R
# qicharts2 vignette).
INFECTIONS = numbers(
    """
    17 12 27 20 20 18 22 19 19 24 17 16 24 19 19 22 25 19 17 6 25 17 11 14 9 11 7 13 5 5 3 5 9 4 5 9
    """
)


def limits(point: Point) -> tuple[float | None, float | None, float | None]:
    return point.lower, point.centre, point.upper


def beyond(points: list[Point]) -> list[int]:
    """Return the numbers, from 1, of the points beyond their limits."""
    return [number for number, signal in enumerate(signals(points), 1) if signal == "beyond_limits"]


def test_p_chart_of_equal_samples():
    points = p_chart(ORANGE_JUICE, [50] * 30)
    assert limits(points[0]) == pytest.approx((0.05242755, 0.2313333, 0.4102391), abs=6e-8)
    assert beyond(points) == [15, 23]


def test_p_chart_of_unequal_samples():
    points = p_chart(PURCHASE_ERRORS, PURCHASE_ORDERS)
    assert limits(points[0]) == pytest.approx((0.007335, 0.09551, 0.183686), abs=1e-6)
    assert limits(points[1]) == pytest.approx((0, 0.09551, 0.194093), abs=1e-6)
    assert (points[10].value, points[10].upper) == pytest.approx((0.181818, 0.179582), abs=1e-6)
    assert beyond(points) == [11]


@pytest.mark.parametrize(
    ("counts", "size", "expected", "tolerance", "outside"),
    [
        pytest.param(CIRCUIT_BOARDS, 1, (6.481447, 19.84615, 33.21086), 6e-6, [6, 20], id="c chart"),
        pytest.param(WAFERS, 1, (4, 16, 28), 1e-9, [24], id="c chart, memory"),
        pytest.param(COMPUTERS, 5, (0.06613305, 1.93, 3.793867), 6e-7, [], id="u chart"),
        pytest.param(SHIPPING_ERRORS, 50, (0, 0.074, 0.189412), 1e-6, [], id="no limit below 0"),
    ],
)
def test_u_charts(counts, size, expected, tolerance, outside):
    points = u_chart(counts, [size] * len(counts))
    assert limits(points[0]) == pytest.approx(expected, abs=tolerance)
    assert beyond(points) == outside


def test_individuals_chart():
    # 3/1.128; the rounded 2.66 would give an upper limit of 55.8049
    points = individuals_chart(NIST_INDIVIDUALS)
    assert limits(points[0]) == pytest.approx((45.8159, 50.81, 55.8041), abs=5e-5)


def test_individuals_chart_with_a_frozen_baseline():
    points = individuals_chart(MORTGAGE_COSTS, slice(0, 20))
    assert limits(points[-1]) == pytest.approx((279.783315, 300.5, 321.216685), abs=1e-6)
    assert beyond(points) == [39, 40]


def test_t_chart():
    # the exponent 1/3.6; Montgomery's rounded 0.2777 gives 430.009 and 6939.69
    points = t_chart(VALVE_HOURS)
    assert limits(points[0]) == pytest.approx((0, 430.040952, 6937.933488), rel=1e-8)
    assert [point.value for point in points] == VALVE_HOURS


def test_laney_p_chart():
    points = laney_p_chart(SEEN_IN_TIME, ATTENDANCES)
    assert limits(points[0]) == pytest.approx((0.94012964, 0.95289971, 0.96566978), rel=1e-6)


def test_laneys_sigma_is_the_ratio_of_the_widths():
    wide, ordinary = laney_p_chart(SEEN_IN_TIME, ATTENDANCES)[0], p_chart(SEEN_IN_TIME, ATTENDANCES)[0]
    assert limits(ordinary) == pytest.approx((0.95169956, 0.95289971, 0.95409986), rel=1e-6)
    widths = (wide.upper - wide.centre) / (ordinary.upper - ordinary.centre)
    assert widths == pytest.approx(10.640422, rel=1e-6)


def test_laney_u_chart_has_the_limits_of_the_p_chart_of_the_same_data():
    # Poisson and binomial sigma differ by one factor, which sigma of z takes back
    late = [total - seen for seen, total in zip(SEEN_IN_TIME, ATTENDANCES, strict=True)]
    for share, rate in zip(laney_p_chart(late, ATTENDANCES), laney_u_chart(late, ATTENDANCES), strict=True):
        assert limits(rate) == pytest.approx(limits(share), rel=1e-9)


def test_g_chart():
    # Benneyan, Health Care Manag Sci 2001;4:305-318, on the first five gaps of the R qicharts2 CABG example
    assert limits(g_chart([23, 39, 15, 34, 1])[0]) == pytest.approx((0, 22.4, 91.0836), abs=1e-3)


def test_a_change_moves_the_centre_only_when_the_baseline_does():
    months = [1] * 36
    before = u_chart(INFECTIONS, months, slice(0, 24))
    assert {point.centre for point in before} == {before[0].centre}
    assert before[0].centre == pytest.approx(19, abs=0.5)
    assert u_chart(INFECTIONS, months, slice(24, 36))[0].centre == pytest.approx(7, abs=0.5)


def test_every_chart_takes_its_limits_from_the_baseline_alone():
    gaps, baseline = [23, 39, 15, 34, 90, 2], slice(0, 4)
    for chart in (g_chart, t_chart, individuals_chart):
        assert limits(chart(gaps, baseline)[5]) == limits(chart(gaps[baseline])[0])
    totals = [100] * 6
    for chart in (p_chart, u_chart, laney_p_chart, laney_u_chart):
        assert limits(chart(gaps, totals, baseline)[5]) == limits(chart(gaps[baseline], totals[baseline])[0])


def test_laneys_charts_of_equal_samples_are_the_individuals_chart():
    # a property of the method: with equal samples z and the value differ by one factor
    rates = individuals_chart([3.0, 3.6, 2.4])
    for point, rate in zip(laney_u_chart([30, 36, 24], [10] * 3), rates, strict=True):
        assert limits(point) == pytest.approx(limits(rate), rel=1e-12)


def test_a_share_has_no_limit_above_1():
    assert p_chart([9, 9], [10, 10])[0].upper == 1


def test_a_period_without_a_denominator_has_no_value_and_no_part_in_the_baseline():
    for chart in (p_chart, u_chart, laney_p_chart, laney_u_chart):
        points = chart([1, 0, 3, 2], [10, 0, 12, 11])
        assert points[1] == Point(None, points[0].centre, None, None)
        assert [points[0], *points[2:]] == chart([1, 3, 2], [10, 12, 11])


def test_a_baseline_with_nothing_in_it_gives_no_limits():
    empty = slice(0, 0)
    assert p_chart([1], [10], empty) == [Point(0.1, None, None, None)]
    assert g_chart([4], empty) == [Point(4, None, None, None)]
    assert t_chart([5.0], empty) == [Point(5.0, None, None, None)]


def test_one_period_gives_a_centre_but_no_moving_range():
    assert individuals_chart([4.0]) == [Point(4.0, 4.0, None, None)]
    assert laney_p_chart([1], [10]) == [Point(0.1, 0.1, None, None)]


def test_a_share_of_none_or_all_leaves_no_room():
    assert limits(laney_p_chart([0, 0, 0], [5, 6, 7])[0]) == (0, 0, 0)
    assert limits(p_chart([5, 6], [5, 6])[0]) == (1, 1, 1)


def test_scipy_finds_the_same_over_dispersion():
    found = rate_dispersion(CIRCUIT_BOARDS, [1] * 26)
    witness = chisquare(CIRCUIT_BOARDS)
    assert (found.chi_squared, found.degrees) == (pytest.approx(witness.statistic), 25)
    assert found.probability == pytest.approx(witness.pvalue)
    late = [total - seen for seen, total in zip(SEEN_IN_TIME, ATTENDANCES, strict=True)]
    table = chi2_contingency([SEEN_IN_TIME, late], correction=False)
    shares = share_dispersion(SEEN_IN_TIME, ATTENDANCES)
    assert (shares.chi_squared, shares.degrees) == (pytest.approx(table.statistic), table.dof)
    assert shares.spread == pytest.approx(10.640422, rel=1e-6)  # Laney's sigma of z, as above


@pytest.mark.parametrize(
    ("counts", "totals"), [([5], [9]), ([0, 0], [9, 9]), ([9, 9], [9, 9]), ([1, 0], [9, 0]), ([], [])]
)
def test_where_nothing_can_vary_there_is_no_dispersion(counts, totals):
    assert share_dispersion(counts, totals) is None


def test_over_dispersion_is_shown_beyond_the_99_percent_point_and_with_a_spread_above_1():
    assert not Dispersion(20.0, 10, 0.0100, 1.5).is_shown
    assert Dispersion(20.0, 10, 0.0099, 1.5).is_shown
    assert not Dispersion(20.0, 10, 0.0099, 1.0).is_shown
