"""Cumulative incidence against lifelines' Aalen-Johansen fitter and a case worked by hand."""

import random
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import AalenJohansenFitter

from pipeline.measures.competing_risks import cumulative_incidence, incidence_at, incidence_time

STATUSES = ("reprocessed", "bypassed", "waiting", "withdrawn")
CODES = {"reprocessed": 1, "bypassed": 2, "waiting": 0, "withdrawn": 0}


def test_a_case_worked_by_hand():
    # at 2 of six 1 reprocessed, 1 bypassed, 1 waiting: 1/6, event-free 4/6; at 5 of three 2 reprocessed:
    # 1/6 + 4/6 x 2/3 = 11/18; the last one is withdrawn
    times = [2, 2, 2, 5, 5, 9]
    statuses = ["reprocessed", "bypassed", "waiting", "reprocessed", "reprocessed", "withdrawn"]
    assert cumulative_incidence(times, statuses) == [(2, Fraction(1, 6)), (5, Fraction(11, 18))]


def test_lifelines_finds_the_same_incidence():
    rows = random.Random(5)
    times = rows.sample(range(1, 100_000), 150)  # no ties, which lifelines would jitter
    statuses = rows.choices(STATUSES, weights=(6, 2, 1, 1), k=150)
    fitter = AalenJohansenFitter(calculate_variance=False)
    fitter.fit(times, [CODES[status] for status in statuses], event_of_interest=1)
    witness = fitter.cumulative_density_.iloc[:, 0]
    for time, share in cumulative_incidence(times, statuses):
        assert float(share) == pytest.approx(witness[time], rel=1e-9)


def test_nine_of_ten_reach_nine_tenths():
    # 9/10 lies below the float 0.9
    times, statuses = [*range(1, 10), 50], ["reprocessed"] * 9 + ["waiting"]
    assert incidence_time(times, statuses, 0.9) == 9


def test_half_is_reached_at_half_and_not_before():
    times, statuses = [1, 2, 3, 4], ["reprocessed"] * 4
    assert incidence_time(times, statuses, 0.5) == 2


def test_a_level_that_is_never_reached_has_no_time():
    assert incidence_time([1, 2], ["reprocessed", "bypassed"], 0.9) is None
    assert incidence_time([], [], 0.5) is None


@pytest.mark.parametrize(("target", "share"), [(59, 0.0), (60, 0.5), (61, 0.5)])
def test_the_target_itself_is_within_the_target(target, share):
    assert incidence_at([60, 100], ["reprocessed", "waiting"], target) == share


@pytest.mark.parametrize(("longest", "known"), [(99, False), (100, True), (101, True)])
def test_observation_that_stops_short_of_the_target_says_nothing_where_any_time_is_censored(longest, known):
    share = incidence_at([10, longest], ["reprocessed", "waiting"], 100)
    assert (share is not None) is known


@pytest.mark.parametrize("last", ["reprocessed", "bypassed"])
def test_short_observation_does_not_matter_when_every_outcome_is_known(last):
    assert incidence_at([10, 20], ["reprocessed", last], 100) == (1.0 if last == "reprocessed" else 0.5)


def test_no_rows_have_no_share():
    assert incidence_at([], [], 100) is None


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 30), st.sampled_from(STATUSES)), max_size=40), st.randoms())
def test_the_incidence_rises_within_0_and_1_whatever_the_order_of_the_rows(rows, shuffling):
    curve = cumulative_incidence([time for time, _ in rows], [status for _, status in rows])
    shares = [share for _, share in curve]
    assert shares == sorted(set(shares))
    assert all(0 < share <= 1 for share in shares)
    shuffling.shuffle(rows)
    assert curve == cumulative_incidence([time for time, _ in rows], [status for _, status in rows])
