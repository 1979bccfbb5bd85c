"""What the report prints beside its charts and comparisons: their rules, in words, from the figures in force."""

from __future__ import annotations

from pipeline.signals import charts, false_alarms, funnel, phases
from pipeline.site_rules import SiteRules

#: What a signal is, and what it is not.
MEANING = (
    "A signal means: look further. It is neither blame, nor proof of harm, nor a device fault; and no signal is no "
    "proof that all is well."
)

_SETS = {
    "limits_and_runs": "one point beyond the limits, or eight in a row on one side of the centre",
    "western_electric": (
        "the four rules of Western Electric (1956): one beyond 3 sigma, two of three beyond 2, four of five beyond 1, "
        "eight on one side"
    ),
    "nelson_1984": "the eight rules of Nelson (1984)",
}


def rule_set_in_words(rules: SiteRules) -> str:
    """Return the set of rules in force, to be printed beside every chart."""
    return f"Signals: {_SETS[rules.signal_rules]}."


def chart_definitions(rules: SiteRules) -> tuple[tuple[str, str], ...]:
    """Return what the charts rest on, as (word, line), with the false alarms of the rule set in force."""
    if rules.baseline_to:
        baseline = f"the months {rules.baseline_from or 'up'} to {rules.baseline_to} that can be assessed"
    else:
        baseline = f"the first {phases.FULL_BASELINE} months that can be assessed"
    alarms = [alarm for alarm in false_alarms.FALSE_ALARMS if alarm.rule_set == rules.signal_rules]
    run_length = false_alarms.MEAN_RUN_LENGTHS[rules.signal_rules]
    return (
        ("Meaning", MEANING),
        ("Signals", rule_set_in_words(rules)),
        ("Baseline", f"{baseline}, frozen; provisional until complete, and set anew at each declared change. "
                     "Months too few to set limits after a change are judged by those before it."),
        ("Limits", "three sigma. Shares have a p chart; where the baseline's months vary by more than chance "
                   "(Pearson's chi-squared beyond its 99% point) Laney's p'. Hours in limit always have p', water u'."),
        ("Rare cases", "between unprotected changeovers, changeovers are counted (g) and days (t); other cases rarer "
                       f"than {charts.LEAST_EXPECTED:g} a month have a g chart."),
        ("Least data", f"{phases.LEAST_MONTHS} months and on average {charts.LEAST_EXPECTED:g} of the rarer outcome a "
                       f"month, or {charts.LEAST_GAPS} gaps, in the baseline; for less a sentence says so."),
        ("Wards", f"funnels of {funnel.POOLED_MONTHS} months with exact limits, in the order of the alphabet. A ward "
                  f"is called out beyond 99.8% and with at least {funnel.LEAST_EVENTS} events."),
        *(("False alarms", false_alarms.sentence(alarm)) for alarm in alarms),
        ("False alarms", f"with known limits and normal values, one in {run_length:.0f} points on average."),
    )  # fmt: skip
