"""Water that saturated gas carries: vapour pressure by IAPWS-IF97, the rest by the ideal-gas law.

The flow reference decides by up to 21 % how much water the same reading stands for (contract 4.9), so it is
always taken from the site's rules and never assumed.
"""

from __future__ import annotations

import math

from pipeline.site_rules import SiteRules

WATER_G_PER_ML = 0.9933
"""Density of liquid water at 37 °C."""

_GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
_WATER_G_PER_MOL = 18.01528
_ZERO_C_IN_K = 273.15
_LITRE_M3 = 1e-3
_NG_PER_G = 1e9
_NG_PER_MG = 1e6
_STANDARD_PA = 101325.0
_HIGHEST_CENTI_C = 5000

# Coefficients n1 to n10 of region 4, IAPWS R7-97(2012), table 34.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def saturation_pressure_pa(temperature_c: float) -> float:
    """Return the vapour pressure in Pa over water, IAPWS-IF97 region 4; valid from 0 to 373 °C.

    >>> round(saturation_pressure_pa(37), 1)
    6281.8
    """
    kelvin = temperature_c + _ZERO_C_IN_K
    theta = kelvin + _N[8] / (kelvin - _N[9])
    a = theta**2 + _N[0] * theta + _N[1]
    b = _N[2] * theta**2 + _N[3] * theta + _N[4]
    c = _N[5] * theta**2 + _N[6] * theta + _N[7]
    return 1e6 * (2 * c / (-b + math.sqrt(b**2 - 4 * a * c))) ** 4


def absolute_humidity_mg_l(dew_point_c: float) -> float:
    """Return milligrams of water in a litre of gas saturated at this temperature in °C, ideal gas.

    >>> round(absolute_humidity_mg_l(37), 1)
    43.9
    """
    moles_m3 = saturation_pressure_pa(dew_point_c) / (_GAS_CONSTANT * (dew_point_c + _ZERO_C_IN_K))
    return moles_m3 * _WATER_G_PER_MOL  # g/m3 are mg/L


def water_per_litre_ng(dew_point_c: float, rules: SiteRules) -> int:
    """Return nanograms of water added per litre of logged flow, rounded half up and never below 0."""
    if rules.flow_reference == "btps":
        carried_ng = absolute_humidity_mg_l(dew_point_c) * _NG_PER_MG
    else:
        carried_ng = _per_dry_litre_ng(dew_point_c, *_reference(rules))
    return max(0, math.floor(carried_ng - rules.inlet_humidity_mg_l * _NG_PER_MG + 0.5))


def water_lookup(rules: SiteRules) -> list[tuple[int, int]]:
    """Return a row (dew point in hundredths of a °C, ng of water per litre) for each step from 0 to 50 °C."""
    return [(centi_c, water_per_litre_ng(centi_c / 100, rules)) for centi_c in range(_HIGHEST_CENTI_C + 1)]


def _reference(rules: SiteRules) -> tuple[float, float]:
    """Return the temperature in °C and the pressure in Pa to which a litre of dry gas refers."""
    if rules.flow_reference == "stpd":
        return 0.0, _STANDARD_PA
    assert rules.room_c is not None  # the rules are refused without it
    return rules.room_c, rules.pressure_kpa * 1000


def _per_dry_litre_ng(dew_point_c: float, reference_c: float, pressure_pa: float) -> float:
    """Return nanograms of water that the moles of dry gas in one reference litre take up until saturated."""
    dry_moles = pressure_pa * _LITRE_M3 / (_GAS_CONSTANT * (reference_c + _ZERO_C_IN_K))
    vapour_pa = saturation_pressure_pa(dew_point_c)
    return dry_moles * vapour_pa / (pressure_pa - vapour_pa) * _WATER_G_PER_MOL * _NG_PER_G
