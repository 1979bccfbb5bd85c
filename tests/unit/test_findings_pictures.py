"""Pictures of when and where: calendars, hours, counters, and the wards side by side."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from report_results import MONTH, SITE, Rows, busy_month, months_before, published

from pipeline.findings.counters import counters
from pipeline.findings.cover import cover
from pipeline.findings.days import calendars, empty_by_hour
from pipeline.findings.model import Figure
from pipeline.findings.source import Source
from pipeline.site_rules import parse_site_rules
from reports.charts import spec_of
from reports.drawn import Order, draw

COVERED = [
    {"table_name": table, "month": month, "declared": False}
    for table in ("part_changes", "episodes")
    for month in months_before(14)
    if (table, month) != ("episodes", "2026-08")
]


def source(folder, zone: str = "UTC", **tables: Rows) -> Source:
    results = published(folder, busy_month() | {"covered_months": COVERED} | tables)
    return Source(replace(results, sites={SITE: parse_site_rules(f'time_zone = "{zone}"')}), SITE, MONTH)


def span(limit_at: datetime, hours: float, part: str = "circuit", outcome: str = "overrun") -> dict[str, Any]:
    return {
        "ward": "Alder", "unit_id": "u1", "part": part, "limit_at": limit_at, "overrun_h": hours, "outcome": outcome,
    }  # fmt: skip


def days_of(figure: Figure) -> dict[tuple[str, int], int]:
    return {(month, day): count for month, day, count in figure.table.rows}


def test_a_part_is_counted_on_every_local_day_that_its_time_past_the_limit_touches(tmp_path):
    spans = [
        span(datetime(2026, 10, 2, 20), 4.0),  # to midnight, exactly
        span(datetime(2026, 10, 2, 23, 59, 59), 24.0),
        span(datetime(2026, 10, 5), 0.0, outcome="within_limit"),
    ]
    (found,) = calendars(source(tmp_path, part_spans=spans))
    assert days_of(found) == {(MONTH, 2): 2, (MONTH, 3): 1}
    assert found.title == "Circuits stood past the limit on 2 days of October 2026"


def test_days_are_those_of_the_site(tmp_path):
    spans = [span(datetime(2026, 10, 2, 23), 0.5)]
    (found,) = calendars(source(tmp_path, "Asia/Tokyo", part_spans=spans))
    assert days_of(found) == {(MONTH, 3): 1}


def test_what_began_before_and_ends_after_the_months_shown_is_cut(tmp_path):
    spans = [span(datetime(2025, 10, 30), 72.0), span(datetime(2026, 10, 31, 12), 72.0)]
    (found,) = calendars(source(tmp_path, part_spans=spans))
    assert days_of(found) == {("2025-11", 1): 1, (MONTH, 31): 1}


def test_a_month_that_the_records_do_not_cover_has_no_cells_and_is_not_told_as_clear(tmp_path):
    (found,) = calendars(source(tmp_path, part_spans=[span(datetime(2026, 10, 2), 1.0)]))
    days = dict(found.ground.rows)
    assert (days["2026-08"], days["2026-09"], days["2026-02"]) == (0, 30, 28)
    lines = {line["Label"]: line["to"] for line in spec_of(found, ZoneInfo("UTC"))["datasets"]["lines"]}
    assert "Aug 26" not in lines
    assert (len(lines), lines["Sep 26"], lines["Feb 26"]) == (11, 30.5, 28.5)
    assert "its records do not reach so far" in found.note


def test_there_is_no_calendar_of_a_part_that_never_stood_past_its_limit(tmp_path):
    assert calendars(source(tmp_path, part_spans=[span(datetime(2026, 10, 2), 1.0, outcome="open")])) == ()


def bag(empty_at: datetime | None, dry_min: float) -> dict[str, Any]:
    return {
        "unit_id": "u1",
        "hung_at": datetime(2026, 10, 1),
        "modelled_empty_at": empty_at,
        "dry_therapy_min": dry_min,
    }


def test_bags_are_counted_by_the_local_hour_at_which_the_model_has_them_empty(tmp_path):
    bags = [
        bag(datetime(2026, 10, 3, 5, 59), 5.0),
        bag(datetime(2026, 10, 3, 6, 0), 5.0),
        bag(datetime(2026, 10, 3, 6, 0), 0.0),
        bag(datetime(2025, 10, 31, 22, 59, 59), 5.0),
        bag(None, 0.0),
    ]
    (found,) = empty_by_hour(source(tmp_path, "Europe/Berlin", bag_runs=bags))
    assert {hour: count for hour, count in found.table.rows if count} == {"07": 1, "08": 1}
    assert found.title == (
        "2 bags modelled empty during therapy: 2 early (07 to 15), 0 late (15 to 23), 0 night (23 to 07)"
    )


def test_there_is_no_picture_of_hours_without_such_a_bag(tmp_path):
    assert empty_by_hour(source(tmp_path, bag_runs=[bag(None, 0.0)])) == ()


def pair(
    unit: str, number: int, counts: tuple[int, int], expected: int, verdict: str = "agrees"
) -> dict[str, Any]:
    at = datetime(2026, 9, 25) + timedelta(days=number)
    return {
        "unit_id": unit, "from_at": at, "to_at": at + timedelta(days=1), "from_count": counts[0],
        "to_count": counts[1], "expected": expected, "counted": counts[1] - counts[0], "verdict": verdict,
    }  # fmt: skip


def test_a_counter_stands_beside_what_the_records_make_of_its_first_reading(tmp_path):
    pairs = [
        pair("u2", 0, (40, 41), 1), pair("u2", 1, (41, 41), 0), pair("u2", 8, (41, 44), 1, "unrecorded"),
        pair("u1", 8, (7, 8), 1),
    ]  # fmt: skip
    (found,) = counters(source(tmp_path, count_checks=pairs))
    assert found.title == "u2: counter rose by more than the records"
    assert [row[1:] for row in found.table.rows] == [(40, 40), (41, 41), (41, 41), (44, 42)]


def test_units_beyond_those_drawn_are_counted(tmp_path):
    pairs = [pair(f"u{number}", 8, (1, 3), 1, "unrecorded") for number in range(8)]
    found = counters(source(tmp_path, count_checks=pairs))
    assert [figure.title[:2] for figure in found] == ["u0", "u1", "u2", "u3", "u4", "u5"]
    assert found[-1].note == "2 more units not drawn; all pairs are listed."


def hours(ward: str, month: str, over: float, part: str = "circuit") -> dict[str, Any]:
    return {
        "ward": ward, "month": month, "part": part, "episode_h": 100.0, "in_limit_h": 100.0 - over,
        "over_limit_h": over, "carried_over_h": 0.0, "undocumented_h": 0.0, "not_assessable_h": 0.0,
        "cover_rate": 1 - over / 100,
    }  # fmt: skip


def trellis(told: Source) -> Figure | None:
    return next((figure for figure in cover(told).figures if figure.key == "cover-ward-months"), None)


def test_wards_stand_side_by_side_for_the_part_with_the_most_hours_not_in_limit(tmp_path):
    rows = [hours(ward, month, over, part) for month in months_before(13) for ward, over, part in (
        ("*", 3.0, "circuit"), ("Birch", 3.0, "circuit"), ("Alder", 0.0, "circuit"), ("Alder", 1.0, "interface"),
    )]  # fmt: skip
    found = trellis(source(tmp_path, part_cover_monthly=rows))
    assert found is not None
    assert found.title == "Circuit: hours not in limit in 1 of 2 wards over 12 months"
    assert [row[:2] for row in found.table.rows[:2]] == [("Alder", "2025-11"), ("Alder", "2025-12")]
    pieces = spec_of(found, ZoneInfo("UTC"))["datasets"]["pieces"]
    assert {(piece["Ward"], piece["kind"], piece["n"]) for piece in pieces} == {
        ("Alder", "over limit", 0.0), ("Birch", "over limit", 0.03),
    }  # fmt: skip


def test_a_panel_shows_its_own_ward_only(tmp_path):
    """A chart inside panels that names a data set would show all of it in each of them."""
    rows = [
        hours(ward, MONTH, over)
        for ward, over in (("*", 2.0), ("Alder", 0.0), ("Birch", 2.0), ("Cedar", 0.0))
    ]
    found = trellis(source(tmp_path, part_cover_monthly=rows))
    assert found is not None
    drawn = draw(Order(spec_of(found, ZoneInfo("UTC"), checked=True), "p")).svg
    heights = re.findall(r'v(\d+)h-[\d.]+Z" fill="var\(--dark\)"', drawn)
    assert (heights, re.findall(r">(\w+)</text></g></g></g></g>", drawn)) == (
        ["0", "56", "0"],
        ["Alder", "Birch", "Cedar"],
    )


def test_there_are_no_panels_where_every_hour_was_in_limit(tmp_path):
    assert trellis(source(tmp_path, part_cover_monthly=[hours("Alder", MONTH, 0.0)])) is None


@pytest.mark.parametrize("number", [24, 26])
def test_wards_beyond_those_drawn_are_counted(tmp_path, number):
    rows = [hours(f"ward {place:02d}", MONTH, 1.0) for place in range(number)]
    found = trellis(source(tmp_path, part_cover_monthly=rows))
    assert found is not None
    assert len(found.table.rows) == 24
    assert found.note == ("2 more wards in the tables." if number == 26 else "")
