"""Humidity against published tables; provenance `memory` marks figures whose source was not opened.

Enthalpy and real-gas density have no counterpart in the program and are left out.
"""

import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws.iapws97 import _PSat_T

from pipeline.measures.humidity import (
    absolute_humidity_mg_l,
    saturation_pressure_pa,
    water_lookup,
    water_per_litre_ng,
)
from pipeline.site_rules import SiteRules

BTPS = SiteRules()
STPD = SiteRules(flow_reference="stpd")
ATMOSPHERE_PA = 101325
PA_PER_MMHG = 133.322
ZERO_C_IN_K = 273.15


def atpd(room_c: float, pressure_kpa: float = 101.325) -> SiteRules:
    return SiteRules(flow_reference="atpd", room_c=room_c, pressure_kpa=pressure_kpa)


def carried_g_per_litre(rules: SiteRules, dew_point_c: float = 37) -> float:
    return water_per_litre_ng(dew_point_c, rules) / 1e9


PRESSURES = [
    # °C, Pa, relative tolerance
    pytest.param(300 - ZERO_C_IN_K, 3536.58941, 1e-8, id="IAPWS R7-97(2012) table 35, 300 K"),
    pytest.param(5, 872.6, 3e-4, id="ASHRAE Fundamentals 2017 ch. 1 table 3, 5 C"),
    pytest.param(25, 3169.7, 3e-4, id="ASHRAE Fundamentals 2017 ch. 1 table 3, 25 C"),
    pytest.param(20, 2339.21, 2e-5, id="IAPWS-IF97, computed with iapws 1.5.5, 20 C"),
    pytest.param(30, 4246.69, 2e-5, id="IAPWS-IF97, computed with iapws 1.5.5, 30 C"),
    pytest.param(37, 6281.85, 2e-5, id="IAPWS-IF97, computed with iapws 1.5.5, 37 C"),
    pytest.param(40, 7384.43, 2e-5, id="IAPWS-IF97, computed with iapws 1.5.5, 40 C"),
    # Buck (1981) J. Appl. Meteorol. 20:1527-1532, coefficients from memory; another formula, so within 0.1 %
    pytest.param(20, 2337.28, 1e-3, id="Buck 1981 (memory), 20 C"),
    pytest.param(31, 4493.44, 1e-3, id="Buck 1981 (memory), 31 C"),
    pytest.param(37, 6279.81, 1e-3, id="Buck 1981 (memory), 37 C"),
]


@pytest.mark.parametrize(("celsius", "expected", "tolerance"), PRESSURES)
def test_saturation_pressure(celsius, expected, tolerance):
    assert saturation_pressure_pa(celsius) == pytest.approx(expected, rel=tolerance)


# CRC Handbook, 62nd ed. (1981), saturated water vapour (archive.unu.edu 80A01E App. 1): °C, g/m3, mmHg.
CRC = [
    (20, 17.33, 17.55),
    (22, 19.46, 19.84),
    (26, 24.43, 25.24),
    (28, 27.29, 28.38),
    (30, 30.43, 31.86),
    (34, 37.66, 39.95),
]


@pytest.mark.parametrize(("celsius", "density", "mmhg"), CRC)
def test_the_crc_table_of_saturated_vapour(celsius, density, mmhg):
    assert saturation_pressure_pa(celsius) / PA_PER_MMHG == pytest.approx(mmhg, rel=1.2e-3)
    # the table's vapour is a real gas, 0.2 to 0.3 % denser than an ideal one
    assert absolute_humidity_mg_l(celsius) == pytest.approx(density, rel=3e-3)


# Clinical table of absolute humidity at saturation, 19-41 °C (medicalalgorithms.com): °C, mg/L.
CLINICAL = [(20, 17.3), (25, 23.0), (30, 30.4), (33, 35.6), (37, 43.9), (38, 46.2), (40, 51.1), (41, 53.7)]


@pytest.mark.parametrize(("celsius", "mg_l"), CLINICAL)
def test_the_clinical_table_of_absolute_humidity(celsius, mg_l):
    assert absolute_humidity_mg_l(celsius) == pytest.approx(mg_l, abs=0.06)


# IF97 with the ideal-gas law, computed with iapws 1.5.5: °C, mg/L.
@pytest.mark.parametrize(("celsius", "mg_l"), [(20, 17.29), (30, 30.353), (37, 43.886), (40, 51.094)])
def test_absolute_humidity_by_the_ideal_gas_law(celsius, mg_l):
    assert absolute_humidity_mg_l(celsius) == pytest.approx(mg_l, rel=2e-5)


def test_33_mg_per_litre_is_saturated_near_31_6_degrees():
    # AARC guideline 2012 (Respir Care 57:782-788) names 33 mg/L; solved for the temperature: 31.555 ± 0.02 °C
    assert absolute_humidity_mg_l(31.535) < 33 < absolute_humidity_mg_l(31.575)


# ASHRAE Fundamentals 2017 ch. 1 table 2, saturated air at 101.325 kPa: °C, kg water per kg dry air. The
# table's values hold a real-gas factor of some 0.4 %.
@pytest.mark.parametrize(("celsius", "ratio"), [(5, 0.005425), (25, 0.020173), (50, 0.086863)])
def test_the_water_taken_up_by_dry_air_is_the_tables_humidity_ratio(celsius, ratio):
    dry_air_g_per_litre = ATMOSPHERE_PA * 1e-3 / (8.314462618 * ZERO_C_IN_K) * 28.966
    assert carried_g_per_litre(STPD, celsius) / dry_air_g_per_litre == pytest.approx(ratio, rel=0.012)


# Standard spirometry table at 760 mmHg, gas saturated at room temperature to BTPS: °C, factor.
@pytest.mark.parametrize(
    ("room_c", "factor"),
    [(20, 1.102), (21, 1.096), pytest.param(37, 1.0, id="37-memory")],
)
def test_conversion_of_room_gas_to_btps(room_c, factor):
    dry_share = 1 - saturation_pressure_pa(room_c) / ATMOSPHERE_PA
    to_btps = carried_g_per_litre(atpd(room_c)) / carried_g_per_litre(BTPS) * dry_share
    assert to_btps == pytest.approx(factor, abs=6e-4)


def test_conversion_between_stpd_and_btps():
    # respiratory-physiology constants at 760 mmHg (memory)
    ratio = carried_g_per_litre(STPD) / carried_g_per_litre(BTPS)
    assert ratio == pytest.approx(1.210, abs=6e-4)
    assert 1 / ratio == pytest.approx(0.826, abs=6e-4)


def test_dry_gas_at_20_degrees_to_btps():
    # ideal-gas relation, computed with IF97
    assert carried_g_per_litre(atpd(20)) / carried_g_per_litre(BTPS) == pytest.approx(1.12792, abs=2e-4)


# Mass balance of dry gas brought to dew point 37 °C at 50 L/min for a day, computed: kilograms.
@pytest.mark.parametrize(("rules", "kilograms"), [(BTPS, 3.1598), (STPD, 3.8249)], ids=["btps", "stpd"])
def test_water_of_a_day_at_50_litres_a_minute(rules, kilograms):
    assert carried_g_per_litre(rules) * 50 * 1440 / 1000 == pytest.approx(kilograms, rel=2e-4)


@settings(deadline=None)
@given(st.floats(0, 50))
def test_the_iapws_package_gives_the_same_pressure(celsius):
    assert saturation_pressure_pa(celsius) == pytest.approx(_PSat_T(celsius + ZERO_C_IN_K) * 1e6, rel=1e-9)


@settings(deadline=None)
@given(st.floats(20, 45))
def test_psychrolib_gives_the_same_pressure_within_its_own_formula(celsius):
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert saturation_pressure_pa(celsius) == pytest.approx(psychrolib.GetSatVapPres(celsius), rel=3e-4)


def test_inlet_humidity_is_taken_off_on_the_same_reference():
    humid = SiteRules(flow_reference="stpd", inlet_humidity_mg_l=10)
    assert water_per_litre_ng(37, STPD) - water_per_litre_ng(37, humid) == 10_000_000


def test_gas_that_comes_in_wetter_than_the_dew_point_takes_no_water():
    assert water_per_litre_ng(20, SiteRules(inlet_humidity_mg_l=20)) == 0


def test_nanograms_are_rounded_half_up():
    # 43.885 653 17 mg/L, computed with iapws 1.5.5
    assert water_per_litre_ng(37, BTPS) == 43_885_653


def test_thin_air_takes_up_more_water_per_mole():
    vapour_kpa = saturation_pressure_pa(37) / 1000
    per_mole = water_per_litre_ng(37, atpd(20, 80)) / 80 / (water_per_litre_ng(37, atpd(20)) / 101.325)
    assert per_mole == pytest.approx((101.325 - vapour_kpa) / (80 - vapour_kpa), rel=1e-6)


def test_the_lookup_has_a_row_for_each_hundredth_from_0_to_50():
    rows = water_lookup(BTPS)
    assert [centi_c for centi_c, _ in rows] == list(range(5001))
    assert rows[3700] == (3700, water_per_litre_ng(37, BTPS))
    assert [ng for _, ng in rows] == sorted(ng for _, ng in rows)
