"""False alarms: the figures that are printed, against a smaller simulation and published run lengths."""

from __future__ import annotations

import math
from statistics import fmean

import pytest

from pipeline.signals.false_alarms import (
    FALSE_ALARMS,
    MEAN_RUN_LENGTHS,
    RULE_SETS,
    SETTINGS,
    FalseAlarm,
    expected_by_chance,
    run_lengths,
    sentence,
    simulate,
)

HISTORIES = 250


@pytest.fixture(scope="module")
def again() -> tuple[FalseAlarm, ...]:
    return simulate(HISTORIES, seed=7)


def test_every_setting_has_its_figures_for_every_rule_set(again):
    found = [(alarm.chart, alarm.setting, alarm.rule_set) for alarm in FALSE_ALARMS]
    assert found == [(alarm.chart, alarm.setting, alarm.rule_set) for alarm in again]
    assert len(found) == len(SETTINGS) * len(RULE_SETS)


def test_a_simulation_with_another_seed_gives_the_printed_figures(again):
    for printed, alarm in zip(FALSE_ALARMS, again, strict=True):
        error = math.sqrt(printed.of_stretches * (1 - printed.of_stretches) / HISTORIES)
        assert alarm.of_stretches == pytest.approx(printed.of_stretches, abs=3.5 * error)
        assert alarm.of_points == pytest.approx(printed.of_points, abs=3.5 * error / 2)


def test_the_same_seed_gives_the_same_figures():
    assert simulate(5, seed=1) == simulate(5, seed=1)


# Champ & Woodall, Technometrics 1987;29:393-399, table 1, no shift (memory): one beyond 3 sigma or eight on one
# side, and all four Western Electric rules.
@pytest.mark.parametrize(
    ("rule_set", "published"), [("limits_and_runs", 152.73), ("western_electric", 91.75)]
)
def test_mean_run_lengths_are_within_5_percent_of_the_published_ones(rule_set, published):
    assert MEAN_RUN_LENGTHS[rule_set] == pytest.approx(published, rel=0.05)
    assert fmean(run_lengths(rule_set, 2500, seed=3)) == pytest.approx(published, rel=0.05)


def test_nelsons_eight_rules_signal_most_often():
    assert MEAN_RUN_LENGTHS["nelson_1984"] == min(MEAN_RUN_LENGTHS.values())
    assert fmean(run_lengths("nelson_1984", 600, seed=3)) == pytest.approx(
        MEAN_RUN_LENGTHS["nelson_1984"], rel=0.1
    )


def test_a_rate_in_words():
    alarm = FalseAlarm("laney_p", "a setting", "limits_and_runs", 0.0271, 0.184)
    assert sentence(alarm) == (
        "laney p chart, a setting: 2.7% of points signal though nothing changed, and 18% of stretches of 12."
    )


def test_many_charts_signal_somewhere_by_chance():
    worst = max(
        alarm.of_points
        for alarm in FALSE_ALARMS
        if alarm.chart == "p" and alarm.rule_set == "limits_and_runs"
    )
    assert expected_by_chance(["p"] * 20, "limits_and_runs") == pytest.approx(20 * worst)
    assert expected_by_chance([], "limits_and_runs") == 0
