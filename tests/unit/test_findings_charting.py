"""The frozen baseline, its limits, and what counts as a signal."""

from __future__ import annotations

import pytest
from report_results import months_before, rules

from pipeline.findings.charting import LEAST_BASELINE, chart_shares, chart_values, run_now
from pipeline.findings.measured import judged
from pipeline.findings.model import DECIDE, LOOK, STEADY, UNKNOWN
from pipeline.measures.intervals import newcombe_difference


def _charted(pairs, text=""):
    months = months_before(len(pairs))
    known = {month: pair for month, pair in zip(months, pairs, strict=True) if pair}
    return chart_shares(known, months, rules(text))


def test_the_first_twelve_assessable_months_are_the_baseline():
    charted = _charted([(1, 10), None, (0, 0), *[(1, 10)] * 11, (9, 10)])
    assert charted.reference.months == (months_before(15)[0], *months_before(12)[:11])
    assert charted.reference.value == pytest.approx(12 / 120)
    assert not charted.reference.provisional


def test_eleven_months_are_provisional():
    assert _charted([(1, 10)] * 11).reference.provisional


def test_the_months_that_the_rules_name_are_the_baseline():
    charted = _charted([(1, 10)] * 12, 'baseline_from = "2026-02"\nbaseline_to = "2026-04"')
    assert charted.reference.months == ("2026-02", "2026-03", "2026-04")
    assert not charted.reference.provisional


def test_a_named_baseline_is_provisional_until_its_last_month():
    assert _charted([(1, 10)] * 3, 'baseline_to = "2026-11"').reference.provisional
    assert not _charted([(1, 10)] * 3, 'baseline_to = "2026-10"').reference.provisional


def test_the_difference_has_newcombes_interval():
    charted = _charted([(2, 100)] * 12 + [(9, 100)])
    assert charted.difference.value == pytest.approx(0.07)
    assert (charted.difference.low, charted.difference.high) == newcombe_difference(9, 100, 24, 1200)


def test_a_month_of_the_baseline_is_not_compared_with_it():
    assert _charted([(2, 100)] * 12).difference is None


@pytest.mark.parametrize(("before", "limited"), [(LEAST_BASELINE, True), (LEAST_BASELINE - 1, False)])
def test_a_short_baseline_sets_no_limits(before, limited):
    text = f'baseline_to = "{months_before(4)[0]}"'
    charted = _charted([(2, 100)] * before + [(60, 100)] * 3, text)
    assert bool(charted.points[-1].signal) == limited
    assert judged(charted, "lower")[0] == (DECIDE if limited else UNKNOWN)


def test_a_baseline_without_a_case_sets_no_limits_and_one_case_is_only_worth_a_look():
    charted = _charted([(0, 100)] * 12 + [(1, 100)])
    assert charted.points[-1].upper is None
    assert judged(charted, "lower")[0] == LOOK
    assert judged(_charted([(0, 100)] * 13), "lower")[0] == STEADY


@pytest.mark.parametrize(("months", "signal"), [(7, ""), (8, "run_of_8")])
def test_eight_months_on_one_side_are_a_signal_and_seven_are_none(months, signal):
    charted = _charted([(4, 100), (6, 100)] * 6 + [(6, 100)] * (months - 1))
    assert len(run_now(charted.points)) == months
    assert charted.points[-1].signal == signal


def test_a_month_without_a_value_neither_adds_to_a_run_nor_breaks_it():
    charted = _charted([(4, 100), (6, 100)] * 6 + [(6, 100)] * 3 + [None] + [(6, 100)] * 4)
    assert len(run_now(charted.points)) == 8


@pytest.mark.parametrize(
    ("now", "better", "status"),
    [(30, "lower", DECIDE), (30, "higher", LOOK), (30, "neither", LOOK), (10, "lower", STEADY)],
)
def test_a_signal_needs_a_decision_only_on_the_worse_side(now, better, status):
    assert judged(_charted([(8, 100), (12, 100)] * 6 + [(now, 100)]), better)[0] == status


def test_a_month_that_cannot_be_measured_cannot_be_judged():
    assert judged(_charted([(2, 100)] * 12 + [(0, 0)]), "lower")[0] == UNKNOWN


def test_values_without_variation_set_no_limits():
    months = months_before(13)
    charted = chart_values(dict.fromkeys(months, 15.0), months, rules())
    assert charted.points[-1].upper is None
    assert judged(charted, "lower")[0] == STEADY


def test_limits_of_values_are_2_66_mean_moving_ranges_from_the_mean():
    # 3 / 1.128 of the mean moving range; here each step is 2, so the limits are 11 +- 6 / 1.128.
    months = months_before(12)
    charted = chart_values(
        {month: 10 + 2 * (place % 2) for place, month in enumerate(months)}, months, rules()
    )
    assert charted.points[-1].upper == pytest.approx(11 + 6 / 1.128)
    assert charted.points[-1].lower == pytest.approx(11 - 6 / 1.128)
