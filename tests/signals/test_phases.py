"""Which months a chart is judged by: a frozen baseline, and a new one after a declared change."""

from __future__ import annotations

import pytest
from results import months, rules_of

from pipeline.signals.phases import Phase, changes_of, phases


def found(
    count: int, rules: str = "", missing: tuple[int, ...] = (), enough: int = 0
) -> list[tuple[int, ...]]:
    """Return start, stop and the ends of the baseline of each phase."""
    parts = parted(count, rules, missing, enough)
    return [
        (part.start, part.stop, part.baseline.start, part.baseline.stop)
        if part.baseline
        else (part.start, part.stop)
        for part in parts
    ]


def parted(count: int, rules: str = "", missing: tuple[int, ...] = (), enough: int = 0) -> tuple[Phase, ...]:
    site = rules_of(rules)
    assessable = [position not in missing for position in range(count)]
    changes = changes_of(site, "turnaround", "Alder")
    return phases(months(count), assessable, changes, site, lambda kept: kept.stop - kept.start >= enough)


def change(on: str, more: str = "") -> str:
    return f'[[events]]\nkind = "change"\nwhat = "new round"\non = {on}\n{more}\n'


def test_the_first_twelve_months_are_the_baseline_for_good():
    assert found(30) == [(0, 30, 0, 12)]


@pytest.mark.parametrize(("count", "provisional"), [(11, True), (12, False)])
def test_it_is_provisional_until_it_has_twelve(count, provisional):
    assert parted(count)[0].provisional is provisional


def test_months_that_cannot_be_assessed_do_not_count_among_the_twelve():
    assert found(30, missing=(0, 3, 4)) == [(0, 30, 1, 15)]


@pytest.mark.parametrize(("count", "phase"), [(5, [(0, 5)]), (6, [(0, 6, 0, 6)])])
def test_fewer_than_six_months_set_no_limits(count, phase):
    assert found(count) == phase


def test_the_rules_name_other_months():
    assert found(30, 'baseline_from = "2025-03"\nbaseline_to = "2025-10"') == [(0, 30, 2, 10)]


@pytest.mark.parametrize(("last", "provisional"), [("2026-05", True), ("2026-06", False), ("2026-07", False)])
def test_named_months_are_provisional_until_the_last_of_them(last, provisional):
    count = months(24).index(last) + 1
    assert parted(count, 'baseline_to = "2026-06"')[0].provisional is provisional


def test_from_a_named_month_on_twelve_are_taken():
    assert found(30, 'baseline_from = "2025-03"') == [(0, 30, 2, 14)]


def test_a_declared_change_sets_a_baseline_of_its_own():
    assert found(30, change("2026-02-01")) == [(0, 13, 0, 12), (13, 30, 13, 25)]


@pytest.mark.parametrize(("on", "start"), [("2026-02-01", 13), ("2026-02-02", 14), ("2026-12-31", 24)])
def test_the_month_of_the_change_belongs_to_the_time_before_unless_it_came_on_the_first_day(on, start):
    assert found(40, change(on))[1][0] == start


def test_five_months_after_a_change_are_still_judged_by_those_before_it():
    assert found(18, change("2026-02-01")) == [(0, 18, 0, 12)]
    assert found(19, change("2026-02-01")) == [(0, 13, 0, 12), (13, 19, 13, 19)]


def test_a_baseline_never_reaches_over_a_change():
    assert found(12, change("2025-09-01")) == [(0, 12, 0, 8)]


def test_months_with_too_little_in_them_set_no_limits():
    assert found(30, enough=13) == [(0, 30)]


def test_named_months_count_in_their_own_phase_only():
    rules = 'baseline_from = "2025-01"\nbaseline_to = "2025-08"\n' + change("2026-02-01")
    assert found(30, rules) == [(0, 13, 0, 8), (13, 30, 13, 25)]


def test_without_a_month_nothing_is_judged():
    assert found(3, missing=(0, 1, 2)) == [(0, 3)]


@pytest.mark.parametrize(
    ("more", "applies"),
    [
        ("", True),
        ('ward = "alder"', True),
        ('ward = "Birch"', False),
        ('measures = ["turnaround"]', True),
        ('measures = ["part_cover"]', False),
    ],
)
def test_a_change_is_of_the_wards_and_measures_that_it_names(more, applies):
    assert bool(changes_of(rules_of(change("2026-02-01", more)), "turnaround", "Alder")) is applies


def test_a_ward_that_closes_is_no_change():
    rules = rules_of('[[events]]\nkind = "ward_closed"\non = 2026-02-01\nward = "Alder"')
    assert changes_of(rules, "turnaround", "Alder") == ()


def test_a_change_in_one_ward_is_none_of_the_site():
    assert changes_of(rules_of(change("2026-02-01", 'ward = "Alder"')), "turnaround", "*") == ()
