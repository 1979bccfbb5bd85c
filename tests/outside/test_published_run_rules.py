"""Signals against the test vectors of R qcc (tests/testthat/test-rules.R) and published limits."""

import pytest
from scipy.stats import binom

from pipeline.measures.control_charts import Point, g_chart, individuals_chart, p_chart, t_chart, u_chart
from pipeline.measures.run_rules import NELSON, WESTERN_ELECTRIC, anhoej_limits, firing, run_test, signals

# Centre 0 and sigma 1; the numbers, from 1, of the points at which the rule fires. R qcc unless marked own.
VECTORS = [
    (WESTERN_ELECTRIC, 1, [0, 3.2, -3.5, 2.9], [2, 3]),
    (WESTERN_ELECTRIC, 2, [0, 2.5, 1.0, 2.6, 0], [4]),
    (WESTERN_ELECTRIC, 3, [0, 1.2, 1.3, 0.2, 1.4, 1.5], [6]),
    (WESTERN_ELECTRIC, 4, [-1, -1, -1, -1, -1, -1, -1, -1, 1], [8]),
    (NELSON, 1, [0, 3.2, -3.4, 3], [2, 3]),
    (NELSON, 2, [0.5] * 10 + [-0.5] * 10, [9, 10, 19, 20]),
    (NELSON, 3, [1, 2, 3, 4, 5, 6, 7, 7, 6, 5, 4, 3, 2, 1], [6, 7, 13, 14]),
    (NELSON, 4, [1, -1] * 7 + [-2], [14]),  # own, from Nelson's wording
    (NELSON, 5, [0, 2.3, 0.4, 2.2, -2.4, -0.2, -2.5], [4, 7]),
    (NELSON, 6, [1.1, 1.2, 0, 1.3, 1.4, -1.2, 1.5], [5]),  # own, from Nelson's wording
    (NELSON, 7, [0.3] * 16 + [1.2], [15, 16]),
    (NELSON, 8, [1.2, -1.3, 1.1, -1.4, 1.5, -1.2, 1.3, -1.1, 0.2], [8]),
    (NELSON, 8, [1.2] * 8, []),
]


@pytest.mark.parametrize(("rules", "number", "sigmas", "expected"), VECTORS)
def test_published_rules(rules, number, sigmas, expected):
    assert [position + 1 for position in firing(rules[number - 1], sigmas)] == expected


def test_a_point_back_at_the_centre_completes_no_pattern():
    assert firing(WESTERN_ELECTRIC[1], [2.5, 2.6, 0.0]) == []


# Anhøj & Olesen, PLoS ONE 2014;9:e113825 (R qicharts2 vignette, appendix 2).
@pytest.mark.parametrize(
    ("useful", "longest_run", "fewest_crossings"),
    [(10, 6, 2), (12, 7, 3), (17, 7, 5), (20, 7, 6), (24, 8, 8), (30, 8, 10), (40, 8, 14)],
)
def test_anhoej_limits(useful, longest_run, fewest_crossings):
    assert anhoej_limits(useful) == (longest_run, fewest_crossings)


def test_fewest_crossings_are_scipys_binomial_quantile():
    for useful in range(5, 150):
        assert anhoej_limits(useful)[1] == binom.ppf(0.05, useful - 1, 0.5)


def charted(*values: float | None, centre: float = 0.0) -> list[Point]:
    return [Point(value, centre, centre - 3, centre + 3) for value in values]


@pytest.mark.parametrize(("value", "signal"), [(3, ""), (3.01, "beyond_limits"), (-3.01, "beyond_limits")])
def test_a_point_on_its_limit_is_within(value, signal):
    assert signals(charted(value)) == [signal]


@pytest.mark.parametrize("side", [1, -1])
def test_the_eighth_point_on_one_side_signals_and_those_that_go_on(side):
    assert signals(charted(*[side] * 7)) == [""] * 7
    assert signals(charted(*[side] * 9, -side)) == [""] * 7 + ["run_of_8"] * 2 + [""]


def test_a_point_on_the_centre_breaks_a_run():
    assert signals(charted(*[1] * 7, 0, *[1] * 7)) == [""] * 15


def test_a_point_on_the_centre_after_a_run_is_no_signal():
    assert signals(charted(*[1] * 8, 0))[-1] == ""


def test_rounding_does_not_take_a_point_off_the_centre():
    assert signals(charted(*[0.4] * 7, 0.1 + 0.2, *[0.4] * 7, centre=0.3)) == [""] * 15


def test_a_point_without_a_value_neither_adds_to_a_run_nor_breaks_it():
    found = signals(charted(*[1] * 7, None, 1))
    assert found[-2:] == ["", "run_of_8"]


def test_a_point_without_a_value_is_no_signal():
    assert signals(charted(*[1] * 8, None))[-1] == ""


def test_beyond_its_limits_goes_before_a_run():
    assert signals(charted(*[1] * 7, 4))[-1] == "beyond_limits"


def test_without_limits_only_runs_can_signal():
    points = [Point(9.0, 1.0, None, None)] * 8
    assert signals(points) == [""] * 7 + ["run_of_8"]


def test_no_points_have_no_signals():
    assert signals([]) == []


def test_runs_of_a_whole_course_against_their_limits():
    # seven above, then seven below: one crossing of 14 useful points, where 3 are the fewest chance allows
    found = run_test(charted(*[1] * 7, 0, *[-1] * 7))
    assert (found.useful, found.longest_run, found.crossings) == (14, 7, 1)
    assert (found.longest_allowed, found.fewest_allowed) == anhoej_limits(14)
    assert found.is_shown


def test_a_course_that_crosses_as_chance_has_it_shows_nothing():
    assert not run_test(charted(*[1, 1, -1, 1, -1, -1, 1, -1, 1, 1, -1])).is_shown


@pytest.mark.parametrize(("useful", "tested"), [(9, False), (10, True)])
def test_under_ten_useful_points_nothing_is_tested(useful, tested):
    assert (run_test(charted(*[1] * useful, 0, None)) is not None) is tested


def placed(*sigmas: float | None) -> list[Point]:
    return [Point(value, 0.0, -3.0, 3.0, value) for value in sigmas]


def test_a_published_set_names_the_first_of_its_rules_that_fires():
    found = signals(placed(2.5, 0.0, 2.6, 3.5), "western_electric")
    assert found == ["", "", "two_of_three_beyond_2_sigma", "beyond_limits"]


def test_points_without_a_value_neither_add_to_a_pattern_nor_break_it():
    found = signals(placed(1, 2, 3, None, 4, 5, 6), "nelson_1984")
    assert found[-1] == "beyond_limits"
    assert signals(placed(0.1, 0.2, 0.3, None, 0.4, 0.5, 0.6), "nelson_1984")[-1] == "six_rising_or_falling"


def test_a_distance_in_sigmas_is_a_third_of_the_way_to_the_limit():
    for points in (p_chart([50, 40, 60], [100] * 3), u_chart([50, 40, 60], [1.0] * 3), g_chart([5, 4, 6])):
        for point in points:
            assert point.sigmas == pytest.approx(
                3 * (point.value - point.centre) / (point.upper - point.centre)
            )


def test_a_distance_between_events_in_time_is_taken_on_the_powered_scale():
    points = t_chart([5.0, 4.0, 9.0])
    powered = individuals_chart([time ** (1 / 3.6) for time in (5.0, 4.0, 9.0)])
    assert [point.sigmas for point in points] == [point.sigmas for point in powered]


def test_a_point_on_the_centre_is_no_signal_though_limits_without_width_miss_it_by_rounding():
    centre = 0.1 + 0.2
    assert signals([Point(0.3, centre, centre, centre)]) == [""]
    assert signals([Point(0.2999, centre, centre, centre)]) == ["beyond_limits"]
