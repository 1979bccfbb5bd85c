"""The classical formulas of stock: z-values, safety stock, reorder point, expected shortage, order quantity."""

from __future__ import annotations

import math

from scipy.stats import norm


def z_of_level(level: float) -> float:
    """Return the standard normal quantile of a service level such as 0.95."""
    return float(norm.ppf(level))


def lead_time_deviation(per_day: float, per_day_sd: float, lead_days: float, lead_sd_days: float) -> float:
    """Return the standard deviation of demand over a lead time, both varying independently.

    sqrt(L·σd² + d²·σL²): Stevenson, Operations Management, chapter 12.
    """
    return math.sqrt(lead_days * per_day_sd**2 + per_day**2 * lead_sd_days**2)


def safety_stock(z: float, deviation: float) -> float:
    """Return the pieces kept against demand that runs above its mean during a lead time."""
    return z * deviation


def reorder_point(mean: float, deviation: float, z: float) -> float:
    """Return the stock at which to order: mean demand of a lead time and safety stock."""
    return mean + safety_stock(z, deviation)


def expected_shortage(deviation: float, z: float) -> float:
    """Return the pieces short per lead time, on average, when ordering at mean + z deviations.

    The unit normal loss, φ(z) − z·(1 − Φ(z)), times the deviation (Snyder and Shen, chapter 4).
    """
    return float(deviation * (norm.pdf(z) - z * norm.sf(z)))


def economic_order_quantity(order_cost: float, holding_cost: float, per_year: float) -> float:
    """Return the order of least cost for a steady demand: sqrt(2·K·λ/h) (Harris 1913)."""
    return math.sqrt(2 * order_cost * per_year / holding_cost)
