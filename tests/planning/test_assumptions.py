"""Changes that a buyer tries on a plan."""

from __future__ import annotations

import pytest

from pipeline.errors import UsageError
from pipeline.planning.assumptions import Assumptions, Change, cautions, changed, parse_change
from pipeline.planning.projection import Item
from pipeline.site_rules import SiteRules, parse_site_rules

ITEM = Item("CIR.1=A", "circuit", 10, 20.0, 8, 2, None, 1)


def rules(text: str = "") -> SiteRules:
    return parse_site_rules(f'time_zone = "UTC"\n{text}')


def after(*texts: str) -> Assumptions:
    assumed = Assumptions(rules(), (ITEM,))
    for text in texts:
        assumed = changed(assumed, parse_change(text))
    return assumed


def test_a_parts_limit_changes_and_its_other_rules_stay():
    found = after("parts.interface.max_days=5").rules.parts
    assert (found["interface"].max_days, found["interface"].follows) == (5, "patient")
    assert found["circuit"].max_days == 7


def test_any_rule_may_change_and_is_judged_as_in_a_rules_file():
    assert after("turnaround_target_h=12").rules.turnaround_target_h == 12
    assert after("counter_counts=all").rules.counter_counts == "all"
    assert after("require_storage_proof=true").rules.require_storage_proof is True


def test_demand_multiplies_and_adds_up():
    assert after("demand=+20%", "demand=-50%").growth == pytest.approx(0.6)


def test_prices_and_lead_times_belong_to_an_item_whose_name_may_hold_any_sign():
    # The last point parts the field from the item, the first equals sign the key from the value.
    found = changed(Assumptions(rules(), (ITEM,)), Change("items.CIR.1=A.price", "25.5")).items[0]
    assert (found.price, found.lead_time_days) == (25.5, 8)


def test_wards_and_service_levels_change():
    assert after("ward.closed=Rowan", "ward.closed=Elm Ward").closed == {"Rowan", "Elm Ward"}
    assert after("service_level=0.98").service_level == 0.98


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("parts.circuit.max_days", "write it as KEY=VALUE"),
        ("=5", "write it as KEY=VALUE"),
        ("parts.cirquit.max_days=5", "Did you mean 'circuit'?"),
        ("parts.circuit.max_day=5", "Did you mean 'max_days'?"),
        ("parts.circuit.max_days=0", "must be a number above 0"),
        ("turnaround_target=12", "Did you mean 'turnaround_target_h'?"),
        ("turnaround_target_h=soon", "must be a number"),
        ("site_id=X", "unknown setting 'site_id'"),
        ("demand=20", "such as demand=+20%"),
        ("demand=-100%", "such as demand=+20%"),
        ("service_level=95", "between 0.5 and 1"),
        ("items.CIR.price=2,5", "decimals take a point"),
        ("items.CIR.colour=2", "with a field of price"),
        ("items.CIR.pack_size=0", "at least 1"),
    ],
)
def test_a_change_that_cannot_be_is_one_clear_line(text, said):
    with pytest.raises(UsageError, match=r"^--set") as raised:
        after(text)
    assert said in str(raised.value)
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize(
    ("text", "cautioned"),
    [
        ("parts.circuit.max_days=7", False),
        ("parts.circuit.max_days=5", False),
        ("parts.circuit.max_days=7.5", True),
        ("turnaround_target_h=24", False),
        ("turnaround_target_h=25", True),
        ("grace_h=1", True),
        ("items.CIR.price=1", False),
        ("demand=+50%", False),
    ],
)
def test_only_a_change_beyond_the_sites_own_limit_is_cautioned(text, cautioned):
    found = cautions(rules(), [parse_change(text)])
    assert bool(found) is cautioned
    assert not found or "beyond the site's own limit" in found[0]


@pytest.mark.parametrize(
    ("text", "anew"),
    [
        ("parts.circuit.max_days=5", False),
        ("parts.circuit.clock=calendar", True),
        ("bag_volume_ml=3000", False),
        ("turnaround_target_h=12", False),
        ("demand=+20%", False),
        ("stay_gap_h=48", True),
        ("target_dew_point_c=34", True),
    ],
)
def test_rules_that_the_measures_rest_on_are_measured_anew(text, anew):
    assert parse_change(text).needs_measuring is anew
