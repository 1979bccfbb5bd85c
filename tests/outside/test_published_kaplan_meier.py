"""Product-limit curves against published examples; `memory` marks sources that were not opened.

A time with a plus sign is censored, as the literature writes it; in the lung data an m marks a man.
"""

import random
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.utils import restricted_mean_survival_time

from pipeline.measures.competing_risks import cumulative_incidence
from pipeline.measures.kaplan_meier import (
    Step,
    kaplan_meier,
    median_limits,
    midpoint_survival_time,
    restricted_mean,
    survival_time,
)

# Freireich et al. 1963, the 6-MP arm, weeks in remission (data: R KMsurv::drug6mp).
REMISSION = "10 7 32+ 23 22 6 16 34+ 32+ 25+ 11+ 20+ 19+ 6 17+ 35+ 6 13 9+ 6+ 10+"

# Maintained arm of R survival::aml, weeks.
MAINTAINED = "9 13 13+ 18 23 28+ 31 34 45+ 48 161+"

# NCCTG lung cancer data, R survival::lung, days.
LUNG = """
306m 455m 1010m+ 210m 883m 1022m+ 310 361 218m 166m 170m 654 728 71m 567m 144m 613m 707m 61 88m 301m 81 624m
371m 394m 520 574m 118m 390m 12m 473 26m 533m 107 53m 122 814m 965+ 93m 731 460m 153 433 145 583m 95 303m
519m 643m 765 735 189m 53m 246m 689m 65m 5 132m 687 345 444 223m 175m 60 163m 65m 208 821+ 428m 230m 840m+
305 11m 132m 226 426 705 363 11m 176m 791m 95m 196m+ 167 806m+ 284m 641 147m 740+ 163m 655m 239m 88m 245
588+ 30m 179m 310m 477m 166 559+ 450 364m 107m 177m 156m 529+ 11m 429m 351 15m 181m 283m 201 524 13m 212m
524m 288m 363m 442m 199 550 54m 558m 207m 92m 60m 551+ 543+ 293 202m 353m 511+ 267m 511+ 371 387m 457m 337m
201 404m+ 222m 62 458m+ 356+ 353m 163m 31m 340 229m 444m+ 315+ 182 156m 329m 364+ 291m 179m 376+ 384+ 268
292m+ 142m 413m+ 266+ 194 320m 181m 285m 301m+ 348 197m 382+ 303m+ 296+ 180m 186 145 269+ 300m+ 284m+ 350
272+ 292+ 332+ 285 259m+ 110m 286m 270m 81m 131m 225m+ 269m 225m+ 243+ 279m+ 276+ 135m 79 59m 240+ 202+ 235+
105m 224+ 239 237m+ 173+ 252+ 221m+ 185m+ 92+ 13m 222m+ 192+ 183m 211+ 175+ 197m+ 203+ 116m 188m+ 191m+ 105+
174m+ 177+
"""


def observed(text: str) -> tuple[list[int], list[bool]]:
    """Return the times and whether the event happened."""
    times = [time.replace("m", "") for time in text.split()]
    return [int(time.rstrip("+")) for time in times], [not time.endswith("+") for time in times]


def men(text: str) -> str:
    return " ".join(time for time in text.split() if "m" in time)


def test_the_remission_curve_and_its_errors():
    # Kleinbaum & Klein; Klein & Moeschberger ex. 4.1 (memory): week, surviving, Greenwood's standard error
    published = [
        (6, 0.8571, 0.0764),
        (7, 0.8067, 0.0869),
        (10, 0.7529, 0.0963),
        (13, 0.6902, 0.1068),
        (16, 0.6275, 0.1141),
        (22, 0.5378, 0.1282),
        (23, 0.4482, 0.1346),
    ]
    curve = kaplan_meier(*observed(REMISSION))
    assert [step.time for step in curve] == [week for week, _, _ in published]
    assert [float(step.surviving) for step in curve] == pytest.approx([row[1] for row in published], abs=6e-5)
    assert [step.standard_error for step in curve] == pytest.approx([row[2] for row in published], abs=6e-5)


def test_the_median_remission():
    # the same table (memory)
    assert survival_time(kaplan_meier(*observed(REMISSION)), 0.5) == 23


@pytest.mark.parametrize(("weeks", "mean"), [(35, 23.2874), (20, 16.1165)])
def test_the_restricted_mean_remission(weeks, mean):
    # computed from the definition; lifelines is the witness
    times, happened = observed(REMISSION)
    assert restricted_mean(kaplan_meier(times, happened), weeks) == pytest.approx(mean, abs=1e-4)
    witness = restricted_mean_survival_time(KaplanMeierFitter().fit(times, happened), t=weeks)
    assert restricted_mean(kaplan_meier(times, happened), weeks) == pytest.approx(witness, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "median", "limits"),
    [
        pytest.param(LUNG, 310, (285, 363), id="R survfit(lung), conf.type log (memory)"),
        pytest.param(men(LUNG), 270, (212, 310), id="the same, men (memory)"),
        pytest.param(MAINTAINED, 31, (18, None), id="R survfit(aml), maintained (memory)"),
    ],
)
def test_medians_with_their_limits(text, median, limits):
    curve = kaplan_meier(*observed(text))
    assert (survival_time(curve, 0.5), median_limits(curve)) == (median, limits)


# R survival tests/quantile.R: a level exactly on a flat of the curve gives the middle of the flat.
@pytest.mark.parametrize(
    ("level", "middle", "left_end"),
    [
        (Fraction(13, 14), 1, 1),
        (Fraction(6, 7), 3.5, 1),
        (Fraction(2, 3), 6, 6),
        (Fraction(1, 2), 9, 9),
        (Fraction(9, 35), 9.5, 9),
        (0.1, None, None),
    ],
)
def test_a_level_on_a_flat_by_both_conventions(level, middle, left_end):
    curve = kaplan_meier(*observed("9 1 1+ 6 6 8+ 10+"))
    assert midpoint_survival_time(curve, level, last_time=10) == middle
    assert survival_time(curve, level) == left_end


def test_a_level_is_the_decimal_that_was_written():
    # three of ten are left: exactly the share 0.3, which the float lies just below
    assert survival_time(kaplan_meier([1] * 10, [True] * 7 + [False] * 3), 0.3) == 1


def test_nobody_left_has_no_error():
    curve = kaplan_meier([1, 2], [True, True])
    assert curve[-1] == Step(2, Fraction(0), None)
    assert curve[-1].standard_error is None
    assert median_limits(curve) == (1, None)


def test_the_lower_limit_comes_down_with_the_last_one():
    assert median_limits(kaplan_meier([5], [True])) == (5, None)


def test_lifelines_draws_the_same_curve():
    rows = random.Random(11)
    times = [rows.randint(1, 40) for _ in range(200)]
    happened = [rows.random() < 0.6 for _ in times]
    witness = KaplanMeierFitter().fit(times, happened)
    for step in kaplan_meier(times, happened):
        assert float(step.surviving) == pytest.approx(witness.predict(step.time), rel=1e-12)


ROWS = st.lists(st.tuples(st.integers(0, 30), st.booleans()), min_size=1, max_size=40)


@settings(deadline=None)
@given(ROWS)
def test_without_a_competing_event_the_incidence_is_one_minus_this_curve(rows):
    times = [time for time, _ in rows]
    statuses = ["reprocessed" if happened else "waiting" for _, happened in rows]
    curve = kaplan_meier(times, [happened for _, happened in rows])
    assert cumulative_incidence(times, statuses) == [(step.time, 1 - step.surviving) for step in curve]
