"""Units of measure told from a column's name, and whether its values could be of them."""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from pipeline.ingest.quantities import converted

#: What a name says in so many letters, and the conversion that it asks for (None: the contract's own unit).
_NAMED: tuple[tuple[str, str, str | None], ...] = (
    ("_l_min", r"(?i)\bm[lL]\s*/\s*min\b|\bml_?min\b", "mL/min"),
    ("_l_min", r"(?i)\bl\s*/\s*s(?:ec)?\b|\bl_s\b|\blps\b", "L/s"),
    ("_l_min", r"(?i)\bl\s*/\s*h\b|\bl_h\b|\blph\b", "L/h"),
    ("_l_min", r"(?i)\bl\s*/\s*min\b|lpm\b|\bl_min\b|\bl min\b", None),
    ("_c", r"°\s*F\b|(?i:\bdeg\s*F\b|fahrenheit|_f\b|\bF\b)", "degF"),
    ("_c", r"°\s*C\b|(?i:\bdeg\s*C\b|celsius|_c\b|\bC\b)", None),
    ("_pct", r"(?i)fraction|frac\b|\b0\s*-\s*1\b", "fraction"),
    ("_pct", r"(?i)%|\bpct\b|percent|prozent|_pct\b", None),
    ("_ml", r"(?i)\bml\b|_ml\b", None),
    ("_ml", r"(?i)[(\[]\s*l\s*[)\]]|\blit(?:er|re)s?\b|_l\b", "L"),
    ("_days", r"(?i)weeks?|wochen", "weeks"),
    ("_days", r"(?i)days?|tage", None),
)

#: Where the middle of honest values lies, and how far off any may be.
_PLAUSIBLE = {
    "flow_l_min": (4, 70),
    "mean_flow_l_min": (4, 70),
    "dew_point_c": (28, 42),
    "mean_dew_point_c": (28, 42),
    "set_dew_point_c": (28, 42),
    "oxygen_pct": (21, 100),
    "temperature_c": (15, 100),
    "volume_ml": (200, 6000),
    "lead_time_days": (1, 120),
}


@dataclass(frozen=True)
class UnitGuess:
    """The conversion, if one is needed, why, and what leaves it open."""

    unit: str | None
    reason: str = ""
    doubt: str = ""


def unit_of(column: str, name: str, numbers: pl.Series) -> UnitGuess:
    """Tell the unit of a column from its name, and hold it against the values (numbers as text)."""
    low, high = _PLAUSIBLE.get(column, (None, None))
    if low is None or high is None:
        return UnitGuess(None)
    named = [
        (unit, match.group())
        for ending, pattern, unit in _NAMED
        if column.endswith(ending) and (match := re.search(pattern, name))
    ]
    if named:
        unit, words = named[0]
        if _is_plausible(numbers, unit, low, high):
            return UnitGuess(unit, f"its name says {words.strip()}")
        doubt = (
            f"its name says {words.strip()}, but the values do not look like it (middle {_middle(numbers):g})"
        )
        return UnitGuess(None, doubt=doubt)
    if _is_plausible(numbers, None, low, high):
        return UnitGuess(
            None, f"its name gives no unit; the middle value {_middle(numbers):g} is plausible as it is"
        )
    return UnitGuess(
        None, doubt=f"its name gives no unit, and the middle value {_middle(numbers):g} is not plausible"
    )


def _middle(numbers: pl.Series) -> float:
    middle = numbers.cast(pl.Float64, strict=False).drop_nulls().median()
    return float(middle) if isinstance(middle, int | float) else 0.0


def _is_plausible(numbers: pl.Series, unit: str | None, low: float, high: float) -> bool:
    values = converted(numbers, unit) if unit else numbers
    used = values.cast(pl.Float64, strict=False).drop_nulls()
    used = used.filter(used > 0)  # a unit that is off shows 0
    middle = used.median()
    return isinstance(middle, int | float) and low <= middle <= high
