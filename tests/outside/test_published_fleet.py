"""Erlang B, Little's law and the number of units wanted at once against published figures.

`memory` marks figures that were not opened at their source but recomputed.
"""

from __future__ import annotations

import heapq
import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from pipeline.planning.fleet import (
    load_served,
    offered_load,
    shortage_probability,
    units_enough,
    units_wanted_at_once,
)


@pytest.mark.parametrize(
    ("units", "shortage", "erlangs", "last_digit"),
    [
        # Published Erlang B traffic tables, columns 1 %, 2 % and 5 %, three figures (memory).
        (1, 0.01, 0.0101, 0.00005),
        (2, 0.01, 0.153, 0.0005),
        (5, 0.01, 1.36, 0.005),
        (10, 0.01, 4.46, 0.005),
        (20, 0.01, 12.0, 0.05),
        (50, 0.01, 37.9, 0.05),
        (10, 0.02, 5.08, 0.005),
        (10, 0.05, 6.22, 0.005),
        # Erlang calculator manual (erlang.com): 15 lines at 1 % carry 8.108 erlangs.
        (15, 0.01, 8.108, 0.0005),
    ],
)
def test_the_load_that_a_fleet_serves_is_that_of_the_traffic_tables(units, shortage, erlangs, last_digit):
    assert load_served(units, shortage) == pytest.approx(erlangs, abs=last_digit)


# Abstract Micro Systems, Erlang B documentation: whole and fractional servers for a load and a blocking.
SERVERS = [(15.7, 0.01, 25, 24.4889), (10, 0.01, 18, 17.44497), (10, 0.05, 15, 14.30043)]


@pytest.mark.parametrize(("load", "shortage", "whole", "fractional"), SERVERS)
def test_the_least_fleet_for_a_load_is_the_published_one(load, shortage, whole, fractional):
    assert units_enough(load, shortage) == whole == math.ceil(fractional)


@pytest.mark.parametrize(("load", "shortage", "whole", "fractional"), SERVERS)
def test_the_recursion_agrees_with_fortets_integral_which_gives_the_published_fractions(
    load, shortage, whole, fractional
):
    def integral(servers: float) -> float:
        # 1/B = A · ∫ e^(−A·t) (1 + t)^N dt, which holds for fractions of a server as well.
        found, _ = quad(lambda t: load * math.exp(servers * math.log1p(t) - load * t), 0, math.inf)
        return 1 / found

    assert brentq(lambda n: integral(n) - shortage, 1, 100, xtol=1e-9) == pytest.approx(fractional, abs=6e-5)
    assert shortage_probability(whole, load) == pytest.approx(integral(whole), rel=1e-6)


@pytest.mark.parametrize(("units", "load", "share"), [(1, 1, 0.5), (4, 2, 2 / 21)])
def test_small_fleets_have_the_closed_form(units, load, share):
    # Lecture notes CS 6030: B(1, 1) = 1/2; B(4, 2) = (2^4/4!) / (1 + 2 + 2 + 4/3 + 2/3) = 2/21.
    assert shortage_probability(units, load) == pytest.approx(share, abs=1e-12)


def test_a_large_fleet_does_not_overflow():
    # Factorials fail near 170; the published 1 % load of 100 servers is 84.1 (memory).
    assert load_served(100, 0.01) == pytest.approx(84.1, abs=0.05)
    assert 0 < shortage_probability(600, 560) < 0.05


@pytest.mark.parametrize(("arrivals", "period", "held", "mean"), [(100, 1, 20, 2000), (12, 1, 3, 36)])
def test_the_mean_number_held_is_arrivals_times_the_time_held(arrivals, period, held, mean):
    # Lecture notes after Little (1961): 100 passes a year kept 20 years; one arrival in 5 min staying 3 h.
    assert offered_load(arrivals, period, held) == mean


def test_littles_law_read_backwards():
    # The same notes: L 0.0082, lambda 0.0306 per hour; printed W 0.269 from unrounded inputs.
    assert offered_load(0.0306, 1, 0.268) == pytest.approx(0.0082, abs=0.0001)


def test_the_number_wanted_at_once_is_a_poisson_quantile():
    # M/G/infinity (Tijms; Whitt): 4 arrivals a day of 5 days each; 28 covers 95 %, 31 covers 99 % of moments.
    load = offered_load(4, 1, 5)
    assert (load, units_wanted_at_once(load, 0.95), units_wanted_at_once(load, 0.99)) == (20, 28, 31)


def test_a_simulated_fleet_turns_away_the_share_that_erlang_b_says():
    # Stays of any distribution: here a unit is held half the time for 2 h, half for 14 h (mean 8 h).
    generator = np.random.Generator(np.random.PCG64(20261101))
    units, load, number = 10, 6.0, 40_000
    arrivals = np.cumsum(generator.exponential(8 / load, number))
    held = generator.choice([2.0, 14.0], number)
    free_at: list[float] = []
    turned_away = 0
    for instant, hours in zip(arrivals, held, strict=True):
        while free_at and free_at[0] <= instant:
            heapq.heappop(free_at)
        if len(free_at) == units:
            turned_away += 1
        else:
            heapq.heappush(free_at, instant + hours)
    assert turned_away / number == pytest.approx(shortage_probability(units, load), abs=0.005)
