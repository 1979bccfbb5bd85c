"""Safety stock, reorder points and order quantities against published worked answers.

`memory` marks figures that were not opened at their source but recomputed. Books round z; the tests take it
as they print it.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from pipeline.planning.stock_formulas import (
    economic_order_quantity,
    expected_shortage,
    lead_time_deviation,
    reorder_point,
    safety_stock,
    z_of_level,
)


def test_the_order_of_least_cost():
    # Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., example 3.1.
    order_cost, holding, per_year = 8, 0.225, 1300
    quantity = economic_order_quantity(order_cost, holding, per_year)
    assert quantity == pytest.approx(304.0467800264368, rel=1e-10)
    assert order_cost * per_year / quantity + holding * quantity / 2 == pytest.approx(
        68.41052550594829, rel=1e-10
    )


def test_a_reorder_point_for_normal_demand_of_a_lead_time():
    # Stevenson, Operations Management, 14th ed., chapter 12, example 8: mean 50, sd 5, risk 3 %, z 1.88.
    assert safety_stock(1.88, 5) == pytest.approx(9.4, abs=0.006)
    assert reorder_point(50, 5, 1.88) == pytest.approx(59.4, abs=0.006)
    assert z_of_level(0.97) == pytest.approx(1.88, abs=0.005)


def test_a_reorder_point_for_varying_days():
    # Russell and Taylor, carpet store: 30 a day, sd 5, lead time 10 days, 95 %, z 1.65: 26.1 and 326.1.
    deviation = lead_time_deviation(30, 5, 10, 0)
    assert safety_stock(1.65, deviation) == pytest.approx(26.1, abs=0.06)
    assert reorder_point(300, deviation, 1.65) == pytest.approx(326.1, abs=0.06)


def test_a_safety_stock_for_varying_days_and_lead_times():
    # Public worked answer: 30 a day, sd 3, lead time 7 days, sd 4 days, z 1.28: 153.94.
    assert safety_stock(1.28, lead_time_deviation(30, 3, 7, 4)) == pytest.approx(153.94, abs=0.006)


def test_a_newsvendors_order_and_its_cost():
    # Snyder and Shen, example 4.3: holding 0.18, shortage 0.7, mean 50, sd 8.
    holding, shortage, mean, deviation = 0.18, 0.7, 50, 8
    z = z_of_level(shortage / (shortage + holding))
    order = reorder_point(mean, deviation, z)
    short = expected_shortage(deviation, z)
    assert order == pytest.approx(56.60395592743389, rel=1e-9)
    assert holding * (order - mean + short) + shortage * short == pytest.approx(1.9976051931766445, rel=1e-9)


def test_a_newsvendor_whose_ratio_is_below_one_half_orders_below_the_mean():
    # Wikipedia, Newsvendor model (memory): price 7, cost 5; normal (50, 20) orders 38.68, uniform 50-80 58.57.
    ratio = (7 - 5) / 7
    assert reorder_point(50, 20, z_of_level(ratio)) == pytest.approx(38.681, abs=0.001)
    demand = np.linspace(50, 80, 300_001)
    assert np.percentile(demand, 100 * ratio, method="inverted_cdf") == pytest.approx(58.5714, abs=0.001)


def test_the_expected_shortage_is_that_of_simulated_lead_times():
    generator = np.random.Generator(np.random.PCG64(7))
    demand = generator.normal(50, 8, 400_000)
    z = float(norm.ppf(0.9))
    simulated = np.maximum(demand - reorder_point(50, 8, z), 0).mean()
    assert expected_shortage(8, z) == pytest.approx(simulated, rel=0.02)
