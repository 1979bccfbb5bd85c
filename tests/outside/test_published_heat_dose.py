"""A0 against its definition in ISO 15883-1 and published pairs of time and temperature.

Sources: the definition as quoted in EFHSS Q&A Q00473; a peer-reviewed hepatitis B paper for 90 °C, 5 min; HSE
linen advice for 65 °C, 10 min. The other figures were computed from the definition.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measures.heat_dose import a0_s, heat_lookup, lethality_ns


def held(celsius: float, seconds: int, start: int = 0) -> list[tuple[float, float]]:
    """Return a reading every 30 s at one temperature."""
    return [(start + second, celsius) for second in range(0, seconds, 30)]


HELD = [
    # °C, seconds, A0, tolerance
    pytest.param(80, 600, 600, 1e-9, id="EFHSS Q00473: 80 C, 10 min"),
    pytest.param(90, 60, 600, 1e-9, id="EFHSS Q00473: 90 C, 1 min"),
    pytest.param(70, 6000, 600, 1e-9, id="EFHSS Q00473: 70 C, 100 min"),
    pytest.param(90, 300, 3000, 1e-9, id="hepatitis B paper: 90 C, 5 min"),
    pytest.param(80, 60, 60, 1e-9, id="definition: 80 C, 1 min"),
    pytest.param(65, 600, 18.974, 1e-3, id="HSE linen pair: 65 C, 10 min"),
    pytest.param(93, 150, 2992.893, 0.01, id="93 C, 2.5 min stays below 3000"),
    pytest.param(93, 600, 11971.574, 0.01, id="93 C, 10 min"),
    pytest.param(75, 1800, 569.21, 0.01, id="75 C, 30 min stays below 600"),
]


@pytest.mark.parametrize(("celsius", "seconds", "expected", "tolerance"), HELD)
def test_a_temperature_that_is_held(celsius, seconds, expected, tolerance):
    assert a0_s(held(celsius, seconds), seconds) == pytest.approx(expected, abs=tolerance)


def test_a_ramp_comes_to_its_exact_integral():
    # 65 to 90 °C at 1 K/min: z / ln 10 × (difference of lethality) / slope
    ramp = [(second, 65 + (second + 0.5) / 60) for second in range(1500)]
    assert a0_s(ramp, 1500) == pytest.approx(2597.527, abs=0.01)


def test_exposure_below_65_degrees_counts_nothing():
    # convention named in EFHSS Q00473; without it the sum would be 103.516
    profile = held(60, 600) + held(64.9, 600, 600) + held(65, 600, 1200) + held(80, 60, 1800)
    assert a0_s(profile, 1860) == pytest.approx(78.974, abs=0.01)


@pytest.mark.parametrize(
    ("celsius", "seconds"), [(65, 18973.67), (75, 1897.37), (85, 189.74), (93, 30.07), (95, 18.97)]
)
def test_seconds_to_an_a0_of_600(celsius, seconds):
    assert 600e9 / lethality_ns(celsius) == pytest.approx(seconds, abs=0.01)


@pytest.mark.parametrize(("celsius", "counts"), [(64.99, False), (65, True), (65.01, True)])
def test_65_degrees_itself_counts(celsius, counts):
    assert (lethality_ns(celsius) > 0) is counts


@pytest.mark.parametrize(("gap", "seconds"), [(59, 59), (60, 60), (61, 60)])
def test_a_reading_stands_for_at_most_a_minute(gap, seconds):
    assert a0_s([(0, 80), (gap, 20)], 1000) == seconds


@pytest.mark.parametrize(("end", "seconds"), [(100, 0), (159, 59), (160, 60), (500, 60)])
def test_the_last_reading_stands_until_the_cycle_ends_but_no_longer_than_a_minute(end, seconds):
    assert a0_s([(100, 80)], end) == seconds


def test_no_readings_make_no_dose():
    assert a0_s([], 100) == 0


def test_the_lookup_has_a_row_for_each_hundredth_from_0_to_140():
    rows = heat_lookup()
    assert [centi_c for centi_c, _ in rows] == list(range(14001))
    assert rows[6499][1] == 0
    assert rows[8000][1] == 1_000_000_000
    assert rows[14000][1] == 10**15


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(1, 90), st.floats(20, 100)), min_size=2, max_size=20), st.data())
def test_the_dose_of_two_halves_is_the_dose_of_the_whole(steps, data):
    second, readings = 0, []
    for gap, celsius in steps:
        readings.append((second, celsius))
        second += gap
    cut = data.draw(st.integers(1, len(readings) - 1))
    halves = a0_s(readings[:cut], readings[cut][0]) + a0_s(readings[cut:], second)
    assert halves == pytest.approx(a0_s(readings, second), rel=1e-12)
