"""Water hung beside water modelled: ratios, the parts of the gap, and how far the model can be trusted."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from results import months, results, rules_of

from pipeline.measures.humidity import WATER_G_PER_ML, water_per_litre_ng
from pipeline.signals.water_audit import water_audit
from pipeline.signals.water_uncertainty import uncertainty

START = datetime(2026, 1, 1, 12)


def month_row(
    ward: str = "*", month: str = "2026-01", hung: float = 120_000, modelled: float = 100_000, **more
):
    return {
        "ward": ward, "month": month, "water_modelled_ml": modelled, "hung_to_modelled": hung / modelled,
        "water_modelled_ml_per_therapy_day": 1440.0, "dry_therapy_min": 0.0,
    } | more  # fmt: skip


def covered(ward: str = "*", month: str = "2026-01", hours: float = 0.0):
    return {"ward": ward, "month": month, "part": "water_bag", "undocumented_h": hours}


def audit(until: str = "2026-01", **tables):
    return water_audit(results(as_of="2026-12-31", **tables), "T", until)


def units(ratios: dict[str, float], days: int = 30):
    """Return a bag and modelled water for each unit on each day, so that it has its ratio."""
    therapy, bags = [], []
    for unit, ratio in ratios.items():
        for day in range(days):
            at = START + timedelta(days=day)
            therapy.append(
                {"unit_id": unit, "local_date": at.date(), "basis": "samples", "water_modelled_ml": 1000.0}
            )
            bags.append({"unit_id": unit, "hung_at": at, "volume_ml": 1000.0 * ratio})
    return {"therapy_days": therapy, "bag_runs": bags, "water_monthly": [month_row()]}


THREE = months(3, 2026 * 12)
ALIKE = {"u1": 1.18, "u2": 1.19, "u3": 1.2, "u4": 1.21, "u5": 1.22}


def test_a_unit_far_from_its_pool_stands_apart():
    found = {ratio.name: ratio for ratio in audit(**units(ALIKE | {"u6": 1.9, "u7": 0.7})).ratios}
    assert {name: found[name].outside for name in ("u3", "u6", "u7")} == {
        "u3": "",
        "u6": "above",
        "u7": "below",
    }
    assert found["u6"].ratio == pytest.approx(1.9)


@pytest.mark.parametrize(("names", "judged"), [(("u1", "u2", "u3", "u4"), False), (tuple(ALIKE), True)])
def test_fewer_than_five_units_are_no_pool(names, judged):
    found = audit(**units({name: ALIKE[name] for name in names})).ratios
    assert (found[-1].lower is not None) is judged


@pytest.mark.parametrize(("days", "judged"), [(19, False), (20, True)])
def test_a_unit_with_less_than_twenty_litres_modelled_is_not_judged(days, judged):
    small, large = units({"u9": 3.0}, days), units(ALIKE)
    tables = {name: large[name] + small[name] for name in ("therapy_days", "bag_runs")}
    found = {ratio.name: ratio for ratio in audit(water_monthly=[month_row()], **tables).ratios}
    assert found["u9"].outside == ("above" if judged else "")


def test_bags_hung_on_days_without_modelled_water_do_not_count():
    tables = units({"u1": 1.2}, 20)
    tables["bag_runs"].append({"unit_id": "u1", "hung_at": START + timedelta(days=25), "volume_ml": 9999.0})
    assert audit(**tables).ratios[-1].ratio == pytest.approx(1.2)


def test_a_ratio_has_limits_from_three_months_on():
    rows = [
        month_row(month=month, hung=115_000 + 5000 * (place % 3))
        for place, month in enumerate(months(3, 2026 * 12))
    ]
    site = audit("2026-03", water_monthly=rows).ratios[0]
    assert site.months == 3
    assert site.limits[0] < site.ratio < site.limits[1]
    assert audit("2026-03", water_monthly=rows[:2]).ratios[0].limits is None


def test_months_in_which_bags_are_not_covered_are_left_out():
    rows = [month_row(), month_row(month="2026-02", hung_to_modelled=None)]
    assert audit("2026-02", water_monthly=rows).ratios[0].months == 1


def test_the_parts_of_the_gap_add_up():
    flow_day = {"unit_id": "u1", "local_date": START.date(), "basis": "samples", "ward": "Alder", "therapy_h": 24.0,
                "mean_flow_l_min": 30.0, "water_modelled_ml": 1500.0, "low_humidity_h": 3.0}  # fmt: skip
    rows = [month_row(dry_therapy_min=60.0)]
    (gap,) = audit(water_monthly=rows, part_cover_monthly=[covered(hours=2.0)], therapy_days=[flow_day]).gaps
    at_target = 30 * 1440 * water_per_litre_ng(37, rules_of()) / 1e9 / WATER_G_PER_ML
    assert gap.missing_ml == pytest.approx(60 + 120)  # one millilitre a minute
    assert gap.low_dew_point_ml == pytest.approx(at_target - 1500)
    assert gap.ends_ml + gap.low_dew_point_ml - gap.missing_ml == pytest.approx(gap.gap_ml)


def test_days_without_low_humidity_add_nothing_to_it():
    day = {"unit_id": "u1", "local_date": START.date(), "basis": "samples", "ward": "Alder", "therapy_h": 24.0,
           "mean_flow_l_min": 30.0, "water_modelled_ml": 1500.0, "low_humidity_h": 0.0}  # fmt: skip
    assert audit(water_monthly=[month_row()], therapy_days=[day]).gaps[0].low_dew_point_ml == 0.0


def test_what_cannot_be_told_is_said_to_be_so():
    (gap,) = audit(water_monthly=[month_row()]).gaps
    assert gap.missing_ml is None
    assert gap.low_dew_point_ml is None
    assert gap.ends_ml == pytest.approx(gap.gap_ml)


def test_without_any_water_the_sentence_says_so():
    found = audit()
    assert (found.ratios, found.uncertainty) == ((), None)
    assert found.sentence == "No month has both water hung and water modelled, so they cannot be compared."


def test_the_flow_reference_moves_the_ratio_by_up_to_21_percent():
    # the conversion from STPD to BTPS, 1.210 in tables of respiratory physiology (memory)
    flow = uncertainty(1.2, rules_of()).inputs[0]
    assert (flow.in_force, flow.ratio_at_low) == ("btps", 1.2)
    assert flow.ratio_at_low / flow.ratio_at_high == pytest.approx(1.210, abs=1e-3)


def test_humid_inlet_air_raises_the_ratio():
    # at 22 °C and half saturated room air brings 9.7 mg/L, some 22 % of the 43.9 mg/L at 37 °C
    inlet = uncertainty(1.2, rules_of()).inputs[1]
    assert inlet.ratio_at_low / inlet.ratio_at_high == pytest.approx(1 - 9.7 / 43.886, abs=1e-4)


def test_bag_fill_acts_on_the_water_hung():
    fill = uncertainty(1.2, rules_of()).inputs[2]
    assert (fill.ratio_at_low, fill.ratio_at_high) == pytest.approx((1.14, 1.26))


def test_inputs_are_propagated_as_independent_and_uniform():
    found = uncertainty(1.2, rules_of())
    squares = sum((item.ratio_at_high - item.ratio_at_low) ** 2 / 12 for item in found.inputs)
    assert found.standard_uncertainty == pytest.approx(squares**0.5)
    assert found.limits[1] - found.limits[0] == pytest.approx(4 * found.standard_uncertainty)


def test_other_conditions_in_force_are_taken_from_the_rules():
    rules = replace(rules_of(), flow_reference="stpd")
    flow = uncertainty(1.0, rules).inputs[0]
    assert (flow.in_force, flow.ratio_at_high) == ("stpd", 1.0)
    assert flow.ratio_at_low == pytest.approx(1.210, abs=1e-3)
