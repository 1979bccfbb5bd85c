"""Published figures that nothing in the program computes: statsmodels, the second witness elsewhere, gives them.

So a witness that changes its method shows here. `memory` marks sources that were not opened.
"""

from __future__ import annotations

import duckdb
import pytest
from statsmodels.stats import rates
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson, confint_poisson_2indep

from pipeline.measures.intervals import clopper_pearson, rate_ratio_limits, wilson
from pipeline.measures.sql_files import load_models


# Newcombe, Stat Med 1998;17:857-872, table I (memory): Wilson's limits with continuity correction.
@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [(81, 263, 0.2535, 0.3682), (15, 148, 0.0598, 0.1644), (0, 20, 0, 0.2005)],
)
def test_a_continuity_correction_widens_wilsons_limits(count, total, low, high):
    plain = wilson(count, total)
    assert low <= plain[0]
    assert high >= plain[1]
    # as wide, or a little wider, as the exact ones, which is what the correction is for
    assert (low, high) == pytest.approx(clopper_pearson(count, total), abs=0.035)
    assert proportion_confint(count, total, method="wilson") == pytest.approx(plain, abs=1e-12)


# R DescTools::PoissonCI and ratesci, as stored in the statsmodels tests: 15 events in 400.
@pytest.mark.parametrize(
    ("method", "low", "high"),
    [("score", 0.0227264749053794, 0.0618771721463559), ("wald", 0.0185227303217751, 0.0564772696782249)],
)
def test_other_limits_of_a_rate(method, low, high):
    assert confint_poisson(15, 400, method=method) == pytest.approx((low, high), rel=1e-5)


def test_the_upper_mid_p_limit_of_a_rate():
    assert confint_poisson(15, 400, method="midp-c")[1] == pytest.approx(0.0604627555786095, rel=1e-5)


# Rothman & Boice's definition (OpenEpi documentation); figures computed.
@pytest.mark.parametrize(
    ("events", "low", "high"), [(2, 0.3353, 6.608), (5, 1.832, 11.0824), (24, 15.7334, 35.1651)]
)
def test_mid_p_limits_of_a_count(events, low, high):
    assert confint_poisson(events, 1, method="midp-c") == pytest.approx((low, high), abs=2e-4)


def test_the_exact_conditional_test_of_two_rates_agrees_with_our_exact_limits():
    # Gu et al., Biometrical J 2008, example 1 (R exactci::poisson.exact): p = 0.000675, so 1 lies outside at 99.9 %
    found = rates.test_poisson_2indep(60, 51477.5, 30, 54308.7, method="exact-cond")
    assert found.pvalue == pytest.approx(0.000675182658686321, rel=1e-9)
    assert rate_ratio_limits(60, 51477.5, 30, 54308.7, 0.999)[0] > 1
    assert rate_ratio_limits(60, 51477.5, 30, 54308.7, 0.9995)[0] < 1


def test_a_difference_of_rates():
    # Rothman, Epidemiology: An Introduction, table 9-2, 90 % limits, per 1000 person-years
    low, high = confint_poisson_2indep(136, 22050, 1709, 127650, compare="diff", method="wald", alpha=0.1)
    assert [1000 * limit for limit in (low, high)] == pytest.approx([-8.2, -6.2], abs=0.06)
    assert pytest.approx(-7.2, abs=0.06) == 1000 * (136 / 22050 - 1709 / 127650)


# CDC NHSN, Using the Statistics Calculator: device days over patient days.
@pytest.mark.parametrize(("days", "patient_days", "ratio"), [(300, 500, 0.6), (250, 550, 0.45)])
def test_device_utilisation_is_therapy_days_over_patient_days(days, patient_days, ratio):
    model = next(model for model in load_models() if model.name == "rate_monthly")
    connection = duckdb.connect()
    for statement in (
        "create schema run; create schema facts; create schema records",
        "create table run.days as select 'T' as site_id, date '2026-03-01' as local_date, '2026-03' as month",
        "create table facts.therapy_time as select 'T' as site_id, 'Alder' as ward, date '2026-03-01' as local_date, "
        f"{days} * 86400 as therapy_s",
        "create table records.ward_census as select 'T' as site_id, 'Alder' as ward, date '2026-03-01' as counted_on, "
        f"{patient_days} as patients",
    ):
        connection.execute(statement)
    found = connection.sql(f"select therapy_days_per_1000_patient_days / 1000 from ({model.sql})").fetchall()
    assert {round(value, 2) for (value,) in found} == {ratio}
