"""Charts of rare events: what lies between them, and when they can be drawn."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import polars as pl
import pytest
from results import day, results, rules_of, series

from pipeline.measures.control_charts import g_chart, t_chart
from pipeline.signals.gaps import gap_charts
from pipeline.signals.trials import Gap, SiteCases, gaps


def cases(text: str) -> pl.DataFrame:
    """Read one case a day: x went amiss, . went well, ? is not known."""
    amiss = {"x": True, ".": False, "?": None}
    rows = [(day(number), amiss[mark]) for number, mark in enumerate(text)]
    return pl.DataFrame(rows, schema={"at": datetime, "amiss": bool}, orient="row")


@pytest.mark.parametrize(
    ("text", "between"),
    [
        ("", []),
        ("..x...", []),  # nothing is known of the time before the first one
        ("x..x", [2]),
        ("xx", [0]),  # what follows at once has a gap of 0
        ("x.?.x..x", [2]),  # a gap with a case that could not be assessed is left out
        ("?x.x", [1]),
        ("x.x.....", [1]),  # the last gap has not ended
    ],
)
def test_a_gap_counts_what_went_well_between_two_cases_that_did_not(text, between):
    assert [gap.between for gap in gaps(cases(text))] == between


def test_a_gap_has_its_days_and_ends_at_the_later_case():
    assert gaps(cases("x..x")) == [Gap(day(3), 2, 3.0)]


def evenly(count: int, days: int = 20, between: int = 9) -> list[Gap]:
    return [Gap(day(number * days), between + number % 3, float(days)) for number in range(1, count + 1)]


def monthly(count: int = 24):
    return series([1.0] * count, [30.0] * count, measure="unprotected_changeovers")


def aligned(gap: Gap) -> Gap:
    """Move a gap to 2025, where the series begins."""
    return Gap(gap.at.replace(year=gap.at.year - 1), gap.between, gap.days)


def test_both_charts_have_the_published_limits():
    found = [aligned(gap) for gap in evenly(10)]
    by_case, by_time = gap_charts(("g", "t"), monthly(), found, rules_of())
    assert [point.chart for point in by_case.points] == ["g"] * 10
    assert by_case.points[0].upper == g_chart([gap.between for gap in found])[0].upper
    assert by_time.points[0].centre == t_chart([gap.days for gap in found])[0].centre


@pytest.mark.parametrize(("count", "drawn"), [(7, 0), (8, 2)])
def test_fewer_than_eight_gaps_set_no_limits(count, drawn):
    found = [aligned(gap) for gap in evenly(count)]
    assert len(gap_charts(("g", "t"), monthly(), found, rules_of())) == drawn


def test_gaps_after_the_baseline_set_no_limits():
    found = [aligned(gap) for gap in evenly(18)]
    later = [Gap(datetime(2026, 6, 1), 500, 300.0)]
    chart = gap_charts(("g",), monthly(), found + later, rules_of())[0]
    assert chart.points[-1].upper == chart.points[0].upper
    assert chart.points[-1].signal == "beyond_limits"


def test_events_that_share_an_instant_keep_periods_of_their_own():
    found = [aligned(gap) for gap in evenly(8)]
    found.append(Gap(found[-1].at, 0, 0.0))
    periods = [point.period for point in gap_charts(("g",), monthly(), found, rules_of())[0].points]
    assert periods[-2:] == ["2025-06-10T00:00:00Z", "2025-06-10T00:00:00Z (2)"]


def test_cases_that_are_no_exception_have_no_chart_of_gaps():
    found = [Gap(aligned(gap).at, 0, 1.0) for gap in evenly(10)]
    assert gap_charts(("g",), monthly(), found, rules_of()) == []


def test_a_gap_that_reaches_back_over_a_change_is_left_out():
    rules = rules_of('[[events]]\nkind = "change"\nwhat = "round"\non = 2026-01-01\n')
    found = [aligned(gap) for gap in evenly(36)]
    chart = gap_charts(("g",), monthly(), found, rules)[0]
    assert len(chart.points) == 35
    assert len(chart.stretches) == 2


def changeover(number: int, proof: str, ward: str = "Alder") -> dict[str, object]:
    return {"unit_id": f"u{number}", "to_started_at": day(number), "proof": proof, "ward": ward}


def test_changeovers_that_are_undecided_or_overlap_are_no_cases():
    proofs = ["no_record", "disinfected", "overlap", "undecided", "counter_only", "expired"]
    run = results(changeovers=[changeover(number, proof) for number, proof in enumerate(proofs)])
    assert [gap.between for gap in SiteCases(run, "T").gaps(monthly())] == [2]


def test_a_wards_gaps_are_between_its_own_cases():
    rows = [changeover(0, "no_record"), changeover(1, "disinfected", "Birch"), changeover(2, "no_record")]
    whole = series([1.0], [3.0], measure="unprotected_changeovers")
    run = results(changeovers=rows)
    assert [gap.between for gap in SiteCases(run, "T").gaps(whole)] == [1]
    assert [gap.between for gap in SiteCases(run, "T").gaps(replace(whole, ward="Alder"))] == [0]


def test_cases_follow_one_another_in_time_whatever_their_units():
    proofs = {
        0: "no_record",
        1: "disinfected",
        2: "no_record",
        3: "disinfected",
        4: "disinfected",
        5: "no_record",
    }
    rows = [changeover(number, proof) | {"unit_id": "ab"[number % 2]} for number, proof in proofs.items()]
    run = results(changeovers=rows[::-1])
    assert [gap.between for gap in SiteCases(run, "T").gaps(monthly())] == [1, 2]


def test_only_spans_that_were_due_are_cases_of_overruns():
    spans = [
        {"unit_id": "u", "part": "circuit", "decided_at": day(0), "outcome": "overrun", "due": True},
        {"unit_id": "u", "part": "circuit", "decided_at": day(1), "outcome": "within_limit", "due": False},
        {"unit_id": "u", "part": "circuit", "decided_at": day(2), "outcome": "within_limit", "due": True},
        {"unit_id": "u", "part": "filter", "decided_at": day(3), "outcome": "within_limit", "due": True},
        {"unit_id": "u", "part": "circuit", "decided_at": day(4), "outcome": "overrun", "due": True},
    ]
    item = series([1.0], [3.0], measure="overrun_of_due:circuit")
    run = results(part_spans=spans)
    assert [gap.between for gap in SiteCases(run, "T").gaps(item)] == [1]


def test_measures_without_single_cases_have_no_gaps():
    run = results()
    assert SiteCases(run, "T").gaps(series([1.0], [3.0], measure="setup_steps:warm")) is None
