"""What stays need by the rules, and what they took."""

from __future__ import annotations

import numpy as np
import pytest
from planning_site import frame, site, stay

from pipeline.planning.need import need_by_month, needed_pieces, stay_pool, water_rate
from pipeline.site_rules import SiteRules, parse_site_rules


def rules(text: str = "") -> SiteRules:
    return parse_site_rules(f'time_zone = "UTC"\n{text}')


def needed(part: str = "circuit", text: str = "", rate: float | None = None, **about: float) -> int:
    rows = frame("stay_parts", [stay("2026-03-02 08:00", part=part, **about)])
    return int(needed_pieces(rows, part, rules(text), rate)[0])


@pytest.mark.parametrize(
    ("hours", "pieces"), [(0, 1), (168, 1), (168 + 1 / 3600, 2), (336, 2), (336 + 1 / 3600, 3)]
)
def test_a_part_is_needed_at_the_start_and_for_each_started_limit(hours, pieces):
    assert needed(hours=hours) == pieces


def test_another_limit_changes_the_need_of_the_same_stay():
    assert needed(hours=130, text="[parts.circuit]\nmax_days = 5") == 2
    assert needed(hours=36, text="[parts.circuit]\nmax_days = 0.5") == 3


@pytest.mark.parametrize(("water_ml", "bags"), [(2000.0, 1), (2000.1, 2), (9000.0, 5)])
def test_bags_are_also_needed_for_the_modelled_water(water_ml, bags):
    assert needed("water_bag", hours=24, water_ml=water_ml, logged_h=24) == bags


def test_a_bag_in_a_larger_size_holds_more():
    assert needed("water_bag", "bag_volume_ml = 3000", hours=24, water_ml=9000.0, logged_h=24) == 3


def test_water_changes_nothing_for_other_parts():
    assert needed("circuit", hours=24, water_ml=9000.0, logged_h=24) == 1


def test_therapy_that_no_unit_logged_takes_the_sites_mean_water():
    rows = frame(
        "stay_parts",
        [
            stay("2026-03-02 08:00", part="water_bag", stay_no=1, water_ml=6000.0, logged_h=60),
            stay("2026-03-09 08:00", part="water_bag", stay_no=2, unlogged_h=50),
        ],
    )
    rate = water_rate(rows)
    assert rate == pytest.approx(100 / 3600)
    assert needed_pieces(rows, "water_bag", rules(), rate).tolist() == [3, 3]


def test_without_any_log_bags_are_needed_by_time_alone():
    assert (
        water_rate(frame("stay_parts", [stay("2026-03-02 08:00", part="water_bag", unlogged_h=50)])) is None
    )
    assert needed("water_bag", hours=200, unlogged_h=200) == 2


def test_the_pool_holds_ended_stays_and_supplies_the_larger_of_rules_and_practice():
    rows = [
        stay("2026-03-02 08:00", hours=200, stay_no=1, fitted=1),
        stay("2026-03-12 08:00", hours=24, stay_no=2, fitted=3),
    ]
    still_on = (*stay("2026-03-20 08:00", stay_no=3)[:5], None, *stay("2026-03-20 08:00")[6:])
    in_doubt = (*stay("2026-03-25 08:00", stay_no=4)[:6], True, *stay("2026-03-25 08:00")[7:])
    records = site(stay_parts=[*rows, still_on, in_doubt])
    pool = stay_pool(records, records.rules)
    assert pool.needed["circuit"].tolist() == [2, 1]
    assert pool.supplied("circuit").tolist() == [2, 3]


def test_a_part_without_a_limit_is_needed_as_practised_only():
    records = site(
        stay_parts=[stay("2026-03-02 08:00", part="filter", fitted=2)],
        rules="[parts.filter]\nper_patient = false",
    )
    pool = stay_pool(records, records.rules)
    assert "filter" not in pool.needed
    assert pool.supplied("filter").tolist() == [2]


def test_a_pool_without_a_ward_keeps_the_others_stays():
    records = site(
        stay_parts=[
            stay("2026-03-02 08:00", ward="Alder", stay_no=1),
            stay("2026-03-12 08:00", hours=24, ward="Birch", stay_no=2),
        ]
    )
    pool = stay_pool(records, records.rules).without({"Alder"})
    assert pool.hours.tolist() == [24.0]
    assert len(pool.needed["circuit"]) == 1


def test_the_need_of_a_month_counts_every_stay_started_in_it():
    records = site(stay_parts=[stay("2026-03-02 08:00", 200), stay("2026-05-31 23:00", stay_no=2)])
    assert records.months == ("2026-03", "2026-04", "2026-05", "2026-06")
    assert np.array_equal(need_by_month(records, records.rules)["circuit"], [2, 0, 1, 0])
