"""What is printed beside the charts."""

from __future__ import annotations

import pytest
from results import rules_of

from pipeline.signals.definitions import MEANING, chart_definitions, rule_set_in_words
from pipeline.signals.false_alarms import FALSE_ALARMS, RULE_SETS, sentence


@pytest.mark.parametrize("rule_set", RULE_SETS)
def test_the_set_in_force_is_named_with_its_own_false_alarms(rule_set):
    rules = rules_of(f'signal_rules = "{rule_set}"')
    lines = [line for word, line in chart_definitions(rules) if word == "False alarms"]
    assert lines[:-1] == [sentence(alarm) for alarm in FALSE_ALARMS if alarm.rule_set == rule_set]
    assert ("Signals", rule_set_in_words(rules)) in chart_definitions(rules)


def test_a_signal_is_neither_blame_nor_proof_of_harm_nor_a_device_fault():
    for words in ("neither blame", "nor proof of harm", "nor a device fault"):
        assert words in MEANING
    assert chart_definitions(rules_of())[0] == ("Meaning", MEANING)


@pytest.mark.parametrize(
    ("rules", "said"),
    [
        ("", "the first 12 months that can be assessed, frozen"),
        (
            'baseline_from = "2025-03"\nbaseline_to = "2025-10"',
            "the months 2025-03 to 2025-10 that can be assessed",
        ),
        ('baseline_to = "2025-10"', "the months up to 2025-10 that can be assessed"),
    ],
)
def test_the_baseline_is_said_as_the_rules_state_it(rules, said):
    assert said in dict(chart_definitions(rules_of(rules)))["Baseline"]
