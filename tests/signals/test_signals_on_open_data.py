"""Control charts, funnels and survival on open data.

Emergency attendances and breaches of the four-hour standard by month and organisation, England, April 2016 to
March 2018: NHS England statistics (Open Government Licence v3.0) by way of the NHSRdatasets package. Organisations
are numbered here in an order that says nothing; no code of theirs appears in any result or message.
Ventilation and water-change intervals: MIMIC-IV Clinical Database Demo 2.2 (Johnson et al. 2023,
doi:10.13026/dp1f-ex47) and MIMIC-IV demo data in MEDS 0.0.1 (van de Water et al. 2025), PhysioNet, ODbL 1.0.
"""

from __future__ import annotations

import csv
import math
from collections import Counter
from datetime import datetime
from pathlib import Path

import pytest
from lifelines import KaplanMeierFitter
from results import results

from pipeline.measures.control_charts import p_chart
from pipeline.measures.funnel_limits import funnel_limits
from pipeline.measures.kaplan_meier import kaplan_meier, midpoint_survival_time, restricted_mean
from pipeline.signals.charts import Chart
from pipeline.signals.control_chart import control_chart, site_charts
from pipeline.signals.funnel import Funnel, funnels
from pipeline.signals.series import site_series

pytestmark = pytest.mark.open_data


@pytest.fixture(scope="module")
def attendances(open_data: Path) -> list[dict[str, str]]:
    """Attendances of major departments, those with at least one."""
    with (open_data / "ae_attendances" / "raw_monthly.csv").open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["type"] == "1" and float(row["attendances"])]


@pytest.fixture(scope="module")
def published(attendances):
    """The attendances in the shape of a measure that counts cases: agreeing are those seen within four hours."""
    codes = sorted({row["org_code"] for row in attendances}, key=unranked)
    wards = {code: f"organisation {number}" for number, code in enumerate(codes, 1)}
    totals, breaches = Counter(), Counter()
    for row in attendances:
        for ward in ("*", wards[row["org_code"]]):
            totals[ward, row["period"][:7]] += round(float(row["attendances"]))
            breaches[ward, row["period"][:7]] += round(float(row["breaches"]))
    rows = [
        {
            "ward": ward,
            "month": month,
            "pairs": total,
            "agrees": total - breaches[ward, month],
            "not_assessable": 0,
        }
        for (ward, month), total in totals.items()
    ]
    return results(count_check_monthly=rows, as_of="2018-03-31")


def unranked(code: str) -> tuple[int, str]:
    """Order codes by something that is no rank and no alphabet: the sum of their letters."""
    return sum(map(ord, code)), code[::-1]


@pytest.fixture(scope="module")
def england(published) -> Chart:
    return next(
        chart for chart in site_charts(published, "T", site_series(published, "T")).drawn if chart.ward == "*"
    )


@pytest.fixture(scope="module")
def funnel(published) -> Funnel:
    (found,) = funnels(site_series(published, "T"), "2018-03")
    return found


def test_the_baseline_is_the_first_twelve_months_and_stays(england, attendances):
    first = {f"2016-{number:02d}" for number in range(4, 13)} | {"2017-01", "2017-02", "2017-03"}
    kept = [row for row in attendances if row["period"][:7] in first]
    breaches = sum(float(row["breaches"]) for row in kept)
    assert england.points[-1].centre == pytest.approx(
        1 - breaches / sum(float(row["attendances"]) for row in kept)
    )
    assert len(england.points) == 24
    assert not england.provisional


def test_months_of_a_million_attendances_vary_by_far_more_than_chance(england):
    dispersion = england.stretches[0].dispersion
    assert dispersion.is_shown
    assert dispersion.spread > 10
    assert {point.chart for point in england.points} == {"laney_p"}


def test_ordinary_limits_would_call_nearly_every_month_a_signal(england):
    counts, totals = [point.count for point in england.points], [point.total for point in england.points]
    plain = p_chart(counts, totals, slice(0, 12))
    outside = [point.value for point in plain if not point.lower <= point.value <= point.upper]
    assert len(outside) >= 20
    assert sum(point.signal == "beyond_limits" for point in england.points) <= 5


def test_every_organisation_has_a_chart_or_a_sentence(published, funnel):
    charts = site_charts(published, "T", site_series(published, "T"))
    wards = {chart.ward for chart in charts.drawn} | {thin.ward for thin in charts.too_thin}
    assert {ward.ward for ward in funnel.wards} <= wards
    assert control_chart(published)["value"].is_between(0, 1).all()


def test_organisations_vary_by_far_more_than_chance_and_the_funnel_allows_for_it(funnel):
    assert len(funnel.wards) > 100
    assert funnel.dispersion > 100
    plain = [
        ward
        for ward in funnel.wards
        if not (limits := funnel_limits(ward.total, funnel.centre, 0.998))[0] <= ward.value <= limits[1]
    ]
    called_out = [ward for ward in funnel.wards if ward.outside]
    assert len(plain) > 0.7 * len(funnel.wards)
    assert len(called_out) < 0.1 * len(funnel.wards)


def test_shrunken_shares_of_large_organisations_are_their_own(funnel):
    for ward in funnel.wards:
        if ward.total > 50_000:
            assert ward.shrunken.value == pytest.approx(ward.value, abs=0.002)


def test_no_code_of_an_organisation_is_in_any_result(published, england, funnel, attendances):
    shown = f"{england!r} {funnel!r} {control_chart(published).write_csv()}"
    words = set(shown.replace("'", " ").replace(",", " ").split())
    assert not words & {row["org_code"] for row in attendances}


def intervals(open_data: Path, name: str, **only: str) -> list[dict[str, str]]:
    with (open_data / "icu_open" / name).open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if all(row[key] == value for key, value in only.items())]


def test_ventilation_that_ran_past_a_week(open_data):
    rows = intervals(open_data, "derived_ventilation_episodes.csv", kind="invasive")
    minutes = [round(float(row["hours"]) * 60) for row in rows]
    curve = kaplan_meier(minutes, [True] * len(minutes))
    left = next(step.surviving for step in reversed(curve) if step.time <= 168 * 60)
    assert left * 65 == 8  # the data's own note: 8 of 65 longer than 7 days
    assert midpoint_survival_time(curve, 0.5, max(minutes)) / 60 == pytest.approx(40.6, abs=0.05)
    assert restricted_mean(curve, max(minutes)) / 1440 * 65 == pytest.approx(200.5, abs=0.1)


def test_humidification_that_was_last_seen_is_censored(open_data):
    rows = intervals(open_data, "derived_active_humidification_episodes.csv")
    hours = [math.ceil(float(row["hours"])) for row in rows]
    ended = [row["end_rule"] == "next_device" for row in rows]
    assert (len(rows), sum(ended)) == (37, 3)
    witness = KaplanMeierFitter().fit(hours, ended)
    curve = kaplan_meier(hours, ended)
    for step in curve:
        assert float(step.surviving) == pytest.approx(witness.predict(step.time), rel=1e-12)
    assert midpoint_survival_time(curve, 0.5, max(hours)) is None  # with 34 of 37 censored there is no median


def test_time_between_changes_of_water(open_data):
    changed = intervals(open_data, "derived_humidifier_water.csv", changed="Yes")
    by_stay: dict[str, list[str]] = {}
    for row in changed:
        by_stay.setdefault(row["stay_id"], []).append(row["t"])
    hours = [
        round((datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds() / 3600)
        for times in by_stay.values()
        for earlier, later in zip(sorted(times), sorted(times)[1:], strict=False)
    ]
    curve = kaplan_meier(hours, [True] * len(hours))
    assert len(hours) == 54  # the data's own note: 54 intervals, median 35 h, mean 36.2 h, longest 95 h
    assert midpoint_survival_time(curve, 0.5, 95) == 35
    assert restricted_mean(curve, 95) == pytest.approx(36.2, abs=0.1)
