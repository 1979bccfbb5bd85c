"""Reads numbers back from a printed text and holds them against the values that they stand for."""

from __future__ import annotations

import re

from pipeline.findings.model import Measure

_NUMBER = re.compile(r"[+−±<>]?\d[\d,]*(?:\.\d+)?")


def numbers(text: str) -> list[str]:
    """Return every number of a text as it is printed."""
    return _NUMBER.findall(text)


def stands_for(printed: str, value: float) -> bool:
    """Say whether a printed number is the value, rounded to the places that it shows."""
    places = len(printed.partition(".")[2])
    least = 0.5 * 10**-places + 1e-9
    size = float(printed.lstrip("+−±<>").replace(",", ""))
    if printed[0] in "<>":
        return value < size if printed[0] == "<" else value > size
    if printed[0] in "+−" and abs(value) > 1e-9 and (value > 0) != (printed[0] == "+"):
        return False
    return abs(abs(value) - size) <= least


def of_measure(measure: Measure) -> list[float]:
    """Return the numbers of a measure's line, in its order: value, interval, count, total, baseline, difference."""
    now, then, apart = measure.now, measure.reference, measure.difference
    times = 100 if measure.unit == "share" else 1
    basis = (now.total,) if measure.counted == "days" else (now.count, now.total)
    values = [
        (now.value, times), (now.low, times), (now.high, times), *((number, 1) for number in basis),
        (then.value, times),
        *((getattr(apart, name, None), times) for name in ("value", "low", "high")),
    ]  # fmt: skip
    return [value * by for value, by in values if value is not None]


def assert_printed(text: str, values: list[float]) -> None:
    """Hold every number of a text against the values, one by one and none left over."""
    found = numbers(text)
    assert len(found) == len(values), (text, values)
    for printed, value in zip(found, values, strict=True):
        assert stands_for(printed, value), (printed, value, text)
