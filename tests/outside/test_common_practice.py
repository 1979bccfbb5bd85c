"""Two things that people in this trade say, without a source; the figures must not contradict them.

The second, that a cold unit shows around 30 °C at first and takes some minutes to 37 °C, concerns warm-up
times, which are computed in SQL: it is checked with the powered runs.
"""

import pytest

from pipeline.measures.humidity import WATER_G_PER_ML, water_per_litre_ng
from pipeline.site_rules import SiteRules


@pytest.mark.parametrize("flow_l_min", [16, 24, 31])
def test_a_bag_of_two_litres_lasts_about_one_to_two_days(flow_l_min):
    """Common practice, no source."""
    grams_a_day = water_per_litre_ng(37, SiteRules()) / 1e9 * flow_l_min * 1440
    assert 1 <= 2000 * WATER_G_PER_ML / grams_a_day <= 2
