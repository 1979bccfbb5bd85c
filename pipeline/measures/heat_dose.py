"""The A0 of moist-heat disinfection (ISO 15883-1): seconds at 80 °C of the same lethality, z = 10 K."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

COUNTED_FROM_C = 65.0
"""Convention, no part of the formula: cooler exposure counts nothing."""

LONGEST_STEP_S = 60.0
"""A reading stands for at most this long, however late the next one comes."""

_REFERENCE_C = 80.0
_Z_K = 10.0
_NS_PER_S = 1e9
_HIGHEST_CENTI_C = 14000


def lethality_ns(temperature_c: float) -> int:
    """Return the A0, in nanoseconds, of one second at this temperature in °C, rounded half up.

    >>> lethality_ns(80), lethality_ns(90), lethality_ns(64.99)
    (1000000000, 10000000000, 0)
    """
    if temperature_c < COUNTED_FROM_C:
        return 0
    return math.floor(_NS_PER_S * 10 ** ((temperature_c - _REFERENCE_C) / _Z_K) + 0.5)


def heat_lookup() -> list[tuple[int, int]]:
    """Return a row (hundredths of a °C, A0 nanoseconds per second) for each step from 0 to 140 °C."""
    return [(centi_c, lethality_ns(centi_c / 100)) for centi_c in range(_HIGHEST_CENTI_C + 1)]


def a0_s(readings: Sequence[tuple[float, float]], end: float) -> float:
    """Return the A0 in seconds of one cycle's readings (second, °C), in order of time, up to the cycle's end.

    Each reading stands for the time to the next one, the last for the time to the end, at most
    `LONGEST_STEP_S`. The store's own figure is summed in SQL; this is the plain form it is checked against.
    """
    instants = [*(second for second, _ in readings), end]
    steps = (min(later - earlier, LONGEST_STEP_S) for earlier, later in pairwise(instants))
    doses = (lethality_ns(celsius) * step for (_, celsius), step in zip(readings, steps, strict=True))
    return math.fsum(doses) / _NS_PER_S
