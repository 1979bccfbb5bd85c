"""How far the water model can be trusted: each uncertain input at its ends, and all of them together."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from pipeline.measures.humidity import water_per_litre_ng
from pipeline.measures.intervals import Limits
from pipeline.site_rules import SiteRules

#: Inlet humidity from dry gas to that of room air at 22 °C and half saturated, in mg/L.
INLET_HUMIDITY_MG_L = (0.0, 9.7)

#: A bag's fill beside what is printed on it; no open source states a tolerance, so this is assumed.
BAG_FILL = (0.95, 1.05)

#: Conditions that a logged flow may refer to, from the least to the most water for the same reading.
_REFERENCES = ("btps", "stpd")


@dataclass(frozen=True)
class UncertainInput:
    """One input of the model: its ends in words, and the ratio hung to modelled at each."""

    name: str
    in_force: str
    low: str
    high: str
    ratio_at_low: float
    ratio_at_high: float

    @property
    def standard_uncertainty(self) -> float:
        """That of the ratio, when every value between the ends is as likely (GUM 4.3.7)."""
        return abs(self.ratio_at_high - self.ratio_at_low) / math.sqrt(12)


@dataclass(frozen=True)
class Uncertainty:
    """The inputs and what they come to together.

    ``limits`` are the ratio's at twice the combined standard uncertainty (about 95 %), around the middle of
    what the inputs allow; the inputs are taken as independent.
    """

    ratio: float
    inputs: tuple[UncertainInput, ...]
    standard_uncertainty: float
    limits: Limits


def uncertainty(ratio: float, rules: SiteRules) -> Uncertainty:
    """Return the uncertainty of a site's ratio of water hung to water modelled."""
    inputs = (
        _flow_reference(ratio, rules),
        _inlet_humidity(ratio, rules),
        UncertainInput(
            "bag fill", "as printed", f"{BAG_FILL[0]:.0%} of it", f"{BAG_FILL[1]:.0%} of it",
            ratio * BAG_FILL[0], ratio * BAG_FILL[1],
        ),
    )  # fmt: skip
    together = math.hypot(*(item.standard_uncertainty for item in inputs))
    middle = ratio + sum((item.ratio_at_low + item.ratio_at_high) / 2 - ratio for item in inputs)
    return Uncertainty(ratio, inputs, together, (max(0.0, middle - 2 * together), middle + 2 * together))


def _flow_reference(ratio: float, rules: SiteRules) -> UncertainInput:
    low, high = (
        ratio / _modelled(replace(rules, flow_reference=reference), rules) for reference in _REFERENCES
    )
    return UncertainInput("flow reference", rules.flow_reference, *_REFERENCES, low, high)


def _inlet_humidity(ratio: float, rules: SiteRules) -> UncertainInput:
    driest, dampest = INLET_HUMIDITY_MG_L
    low, high = (
        ratio / _modelled(replace(rules, inlet_humidity_mg_l=humidity), rules)
        for humidity in (driest, dampest)
    )
    in_force = f"{rules.inlet_humidity_mg_l:g} mg/L"
    return UncertainInput("inlet humidity", in_force, f"{driest:g} mg/L", f"{dampest:g} mg/L", low, high)


def _modelled(other: SiteRules, rules: SiteRules) -> float:
    """Return how many times the water modelled by other rules is that of the rules in force, at the target."""
    target = rules.target_dew_point_c
    return water_per_litre_ng(target, other) / water_per_litre_ng(target, rules)
