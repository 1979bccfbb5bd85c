"""What a month's findings claim, list, and leave open."""

from __future__ import annotations

import doctest
import importlib
import re
from datetime import datetime

import pytest
from printed_numbers import numbers, stands_for
from report_results import (
    MONTH,
    SITE,
    busy_month,
    changeover_case,
    changeovers,
    months_before,
    overruns,
    published,
)

from pipeline.errors import NothingToDo, UsageError
from pipeline.findings import findings, sites_with_data
from pipeline.findings.model import DECIDE, LOOK, NOT_JUDGED, UNKNOWN
from pipeline.findings.turnaround import curve_steps
from pipeline.findings.wording import shown
from pipeline.measures.intervals import newcombe_difference, wilson

CLAIMS = re.compile(r"above|below|signal", re.IGNORECASE)


def found(folder, tables, text="", **more):
    return findings(published(folder, tables, text), [], [], SITE, MONTH, **more)


def table_of(told, key):
    return next(table for section in told.sections for table in section.tables if table.key == key)


def headlines(told, status):
    return [item.headline for item in told.attention if item.status == status]


@pytest.mark.parametrize("module", ["wording", "months", "naming"])
def test_the_examples_are_true(module):
    assert doctest.testmod(importlib.import_module(f"pipeline.findings.{module}")).failed == 0


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, "0.0%"),
        (0.0004, "<0.1%"),
        (0.0005, "0.1%"),
        (0.9994, "99.9%"),
        (0.9996, ">99.9%"),
        (1.0, "100.0%"),
    ],
)
def test_a_share_reads_as_none_or_all_only_when_it_is(share, words):
    assert shown(share, "share") == words


def test_a_quiet_month_makes_no_claim(tmp_path):
    told = found(tmp_path, {"part_overrun_monthly": overruns([(2, 100), (3, 100)] * 7)})
    assert told.attention == ()
    titles = [figure.title for section in told.sections for figure in section.figures]
    assert [title for title in titles if CLAIMS.search(title)] == []
    assert not any(point.signal for measure in told.measures for point in measure.points)


def test_a_rise_is_told_with_its_numbers(tmp_path):
    told = found(tmp_path, {"part_overrun_monthly": overruns([(2, 100)] * 13 + [(12, 100)])})
    (item,) = told.attention
    assert (item.status, item.headline) == (
        DECIDE,
        "Circuits past the limit: above its upper limit in October 2026",
    )
    assert "12 of 100 (12.0%, 95% interval 7.0% to 19.8%)" in item.evidence
    assert "Against 2.0% in the baseline, September 2025 to August 2026: +10.0 points" in item.evidence


def test_a_run_is_told_from_its_first_month_outside_the_baseline(tmp_path):
    pairs = [(4, 100), (6, 100)] * 6 + [(7, 100)] * 8
    (item,) = found(tmp_path, {"part_overrun_monthly": overruns(pairs)}).attention
    assert item.headline == "Circuits past the limit: above the baseline for 9 months, since February 2026"
    assert item.evidence.startswith(
        "Outside the baseline, since March 2026: 56 of 800 (7.0%, 95% interval 5.4% to 9.0%), against 5.0% in the"
    )
    assert "October 2026 alone: 7 of 100" in item.evidence


def test_a_matter_has_its_count_total_interval_baseline_and_difference(tmp_path):
    (item,) = found(tmp_path, {"part_overrun_monthly": overruns([(2, 100)] * 13 + [(12, 100)])}).attention
    percent = [100 * value for value in (*wilson(12, 100), *newcombe_difference(12, 100, 24, 1200))]
    wanted = [2026, 12, 100, 12.0, 95, *percent[:2], 2.0, 2025, 2026, 10.0, 95, *percent[2:]]
    shown_numbers = numbers(item.evidence)
    assert all(map(stands_for, shown_numbers, wanted)), (shown_numbers, wanted)
    assert len(shown_numbers) == len(wanted) + 2  # the limits of the month
    assert "chance alone could explain" not in item.evidence


def test_a_headline_goes_the_way_of_the_difference_and_of_the_signal(tmp_path):
    rises = found(tmp_path / "up", {"part_overrun_monthly": overruns([(2, 100)] * 13 + [(12, 100)])})
    falls = found(tmp_path / "down", {"changeover_monthly": changeovers([(40, 100)] * 13 + [(5, 100)])})
    told = [*rises.attention, *falls.attention, *found(tmp_path / "busy", busy_month()).attention]
    measures = {
        measure.subject: measure
        for each in (rises, falls, found(tmp_path / "again", busy_month()))
        for measure in each.measures
    }
    signals = [item for item in told if item.headline.partition(":")[0] in measures]
    assert len(signals) >= 4
    for item in signals:
        measure = measures[item.headline.partition(":")[0]]
        assert measure.now.signal
        assert measure.difference
        side = "above" if measure.now.value > measure.now.centre else "below"
        assert f": {side} " in item.headline


def test_a_list_of_cases_tells_how_many_there_could_have_been(tmp_path):
    told = {
        item.section: f"{item.headline}. {item.evidence}" for item in found(tmp_path, busy_month()).attention
    }
    assert "circuit 1 of 20 starts (5.0%, 95% interval 0.9% to 23.6%)" in told["fresh"]
    assert "1 of 70 bags hung (1.4%, 95% interval 0.3% to 7.7%)" in told["water"]
    assert (
        "27 of 30 (90.0%, 95% interval 74.4% to 96.5%) agree. Against 90.0% in the baseline" in told["counts"]
    )
    assert "±0.0 points (95% interval −15.9 to +7.4), which chance alone could explain." in told["counts"]
    assert "1.5 h of therapy at low humidity in October 2026" in told["warmth"]
    assert "Therapy in all: 1,332 h." in told["warmth"]


def test_a_fall_below_the_baseline_is_no_matter(tmp_path):
    pairs = [(40, 100), (42, 100)] * 6 + [(5, 100)]
    assert found(tmp_path, {"part_overrun_monthly": overruns(pairs)}).attention == ()


def test_months_after_that_of_the_report_do_not_count(tmp_path):
    rows = overruns([(2, 100)] * 13 + [(90, 100)])
    told = findings(published(tmp_path, {"part_overrun_monthly": rows}), [], [], SITE, months_before(2)[0])
    assert told.attention == ()


def test_every_unprotected_changeover_is_listed_even_when_the_chart_is_quiet(tmp_path):
    proofs = ["expired", "storage_unproven", "invalid_cycle", "uncharted_use", "no_record", "counter_only"]
    quiet = ["disinfected", "undecided", "not_assessable", "overlap"]
    cases = [changeover_case(number, proof) for number, proof in enumerate(proofs + quiet)]
    told = found(tmp_path, {"changeovers": cases, "changeover_monthly": changeovers([(5, 100)] * 13)})
    assert headlines(told, DECIDE) == ["5 changeovers in October 2026 without proof of a valid disinfection"]
    rows = table_of(told, "changeover-cases").rows
    assert [row[1] for row in rows] == [f"u{number}" for number in range(len(proofs))]


def test_a_count_that_rose_alone_is_listed_and_worth_a_look(tmp_path):
    tables = {
        "changeovers": [changeover_case(1, "counter_only")],
        "changeover_monthly": changeovers([(0, 9)]),
    }
    told = found(tmp_path, tables)
    assert headlines(told, LOOK) == ["1 changeover in October 2026 with a risen count and no record"]
    assert len(table_of(told, "changeover-cases").rows) == 1


def test_changeovers_of_other_months_are_not_listed(tmp_path):
    base = changeover_case(1)
    edges = ["2026-09-30T23:59:59", "2026-10-01T00:00:00", "2026-10-31T23:59:59", "2026-11-01T00:00:00"]
    cases = [base | {"to_started_at": datetime.fromisoformat(at)} for at in edges]
    rows = table_of(found(tmp_path, {"changeovers": cases}), "changeover-cases").rows
    assert [row[0].isoformat() for row in rows] == edges[1:3]


def test_a_month_without_records_of_a_kind_cannot_be_judged(tmp_path):
    rows = [{"table_name": "disinfections", "month": "2026-09", "declared": False}]
    told = found(tmp_path, {"covered_months": rows})
    assert headlines(told, UNKNOWN) == [
        "Nothing can be measured in October 2026",
        "No records of disinfections for October 2026",
    ]


def test_the_faults_of_another_site_stay_on_its_page(tmp_path):
    results = published(tmp_path, {"changeover_monthly": changeovers([(0, 9)])}, sites=(SITE, "U"))
    told = findings(results, [], [], SITE, MONTH, poor_data=["T, episodes: 3 rows.", "U, episodes: 4 rows."])
    assert told.attention[0].evidence == "T, episodes: 3 rows."


def test_the_gravest_come_first(tmp_path):
    statuses = [item.status for item in found(tmp_path, busy_month()).attention]
    assert statuses == sorted(statuses, key=[DECIDE, LOOK].index)


def test_wards_stand_in_the_order_of_the_alphabet(tmp_path):
    shares = {"Rowan": (90, 100), "*": (100, 200), "Alder": (10, 100)}
    rows = [row for ward, pair in shares.items() for row in overruns([pair] * 2, ward=ward)]
    told = found(tmp_path, {"part_overrun_monthly": rows})
    figure = next(item for section in told.sections for item in section.figures if item.chart == "funnel")
    assert [row[0] for row in figure.table.rows] == ["Alder", "Rowan"]
    assert figure.title == "Circuits past the limit: 2 wards outside the limits"


def test_nothing_measured_gives_plain_words(tmp_path):
    told = found(tmp_path, {})
    assert [(item.status, item.headline) for item in told.attention] == [
        (UNKNOWN, "Nothing can be measured in October 2026")
    ]
    assert {measure.status for measure in told.measures} == {UNKNOWN, NOT_JUDGED}
    assert told.signals[-1] == "None of the site's charts has a point in October 2026."
    assert all(not figure.table.rows or figure.chart in ("coverage", "intervals_hours")
               for section in told.sections for figure in section.figures if figure.key != "curve")  # fmt: skip


def test_only_waiting_units_give_no_median(tmp_path):
    row = {"ward": "*", "month": MONTH, "ended": 2, "reprocessed": 0, "bypassed": 0, "waiting": 2, "withdrawn": 0,
           "not_assessable": 0}  # fmt: skip
    told = found(tmp_path, {"turnaround_monthly": [row]})
    section = next(item for item in told.sections if item.key == "turnaround")
    assert "2 still waiting" in section.paragraphs[0]
    assert "cannot be given yet" in section.paragraphs[0]
    assert section.figures[0].title == "Half of the stays have not been seen disinfected"


def test_the_curve_has_the_competing_event_beside_the_disinfected():
    # By hand: of 4 at risk one is disinfected (1/4), then of 3 one is used again (3/4 x 1/3), then of 2 one more
    # is disinfected (1/2 x 1/2), and the last is censored.
    steps = curve_steps([10, 20, 30, 40], ["reprocessed", "bypassed", "reprocessed", "waiting"])
    assert steps == [(0, 0, 0), (10, 0.25, 0), (20, 0.25, 0.25), (30, 0.5, 0.25), (40, 0.5, 0.25)]


@pytest.mark.parametrize("month", ["2026-13", "2026-1", "october", "2026-10-01"])
def test_what_is_no_month_is_refused(tmp_path, month):
    with pytest.raises(UsageError, match="write it such as 2026-10"):
        findings(published(tmp_path, {}), [], [], SITE, month)


def test_a_site_without_results_is_nothing_to_do(tmp_path):
    with pytest.raises(NothingToDo, match="'other'"):
        findings(published(tmp_path, {}), [], [], "other", MONTH)


def test_only_sites_with_a_row_in_the_month_have_a_page(tmp_path):
    results = published(tmp_path, {"changeover_monthly": changeovers([(0, 9)])}, sites=(SITE, "U"))
    assert sites_with_data(results, MONTH) == [SITE]
    assert sites_with_data(results, "2026-11") == []


def test_storage_is_told_by_place_with_the_units_behind_each(tmp_path):
    def cycles(place, unit, protected, unknown, month="2026-10"):
        return {
            "place": place, "unit_id": unit, "month": month, "cycles": 10, "protected": protected,
            "not_protected": 10 - unknown - protected, "protection_unknown": unknown, "tagged": 10,
            "not_tagged": 0, "tag_unknown": 0,
        }  # fmt: skip

    rows = [cycles("Birch", "u9", 6, 1), cycles("Alder", "u2", 10, 0), cycles(None, "u4", 0, 10)]
    rows += [cycles("Birch", "u1", 9, 0), cycles("Birch", "u1", 0, 0, "2026-09")]
    told = found(tmp_path, {"storage_by_unit": rows})
    (section,) = (section for section in told.sections if section.key == "storage")
    places, units = section.tables
    assert [row[:5] for row in places.rows] == [
        ("Alder", 10, 10, 0, 0), ("Birch", 20, 15, 4, 1), ("ward not known", 10, 0, 0, 10),
    ]  # fmt: skip
    assert [row[:2] for row in units.rows] == [
        ("Alder", "u2"), ("Birch", "u1"), ("Birch", "u9"), ("ward not known", "u4"),
    ]  # fmt: skip
    protected, tagged = section.figures
    assert protected.title == "Not stored protected: 4 passed cycles; not recorded of 11 cycles"
    assert tagged.title == "Not tagged: no passed cycles; not recorded of no cycles"
    assert [row[2:5] for row in protected.table.rows] == [(10, 10, 1.0), (15, 19, 15 / 19), (0, 0, None)]
