"""Rates if all that cannot be assessed were bad, or all of it good."""

from __future__ import annotations

from results import day, results

from pipeline.signals.bounds import Bounds, bounds


def found(measure: str, ward: str = "*", **tables) -> Bounds:
    rows = bounds(results(**tables), "T", "2026-03")
    return next(row for row in rows if (row.measure, row.ward) == (measure, ward))


def test_what_cannot_be_assessed_is_added_to_either_side():
    rows = [{"month": "2026-03", "changeovers": 8, "unprotected": 2, "not_assessable": 2}]
    row = found("unprotected_changeovers", changeover_monthly=rows)
    assert (row.rate, row.if_all_bad, row.if_all_good) == (0.75, 0.6, 0.8)
    assert row.sentence.startswith(
        "2 of 10 cases cannot be assessed: of the rest 75.0% are good; of all, 60.0% if none of those were"
    )


def test_where_all_can_be_assessed_the_bounds_are_the_rate():
    rows = [{"month": "2026-03", "changeovers": 8, "unprotected": 2, "not_assessable": 0}]
    row = found("unprotected_changeovers", changeover_monthly=rows)
    assert row.rate == row.if_all_bad == row.if_all_good
    assert row.sentence == "All of 8 cases can be assessed."


def test_where_nothing_can_be_the_bounds_are_none_and_all():
    rows = [{"month": "2026-03", "changeovers": 0, "unprotected": 0, "not_assessable": 3}]
    row = found("unprotected_changeovers", changeover_monthly=rows)
    assert (row.rate, row.if_all_bad, row.if_all_good) == (None, 0.0, 1.0)


def test_part_cover_counts_hours():
    rows = [
        {
            "month": "2026-03",
            "part": "circuit",
            "episode_h": 100.0,
            "in_limit_h": 60.0,
            "not_assessable_h": 20.0,
        }
    ]
    row = found("part_cover:circuit", part_cover_monthly=rows)
    assert (row.unit, row.rate, row.if_all_bad, row.if_all_good) == ("hours", 0.75, 0.6, 0.8)


def test_months_of_the_window_are_added_up_and_others_left_out():
    rows = [
        {"month": month, "pairs": 10, "agrees": 9, "not_assessable": 0}
        for month in ("2025-03", "2025-04", "2026-03", "2026-04")
    ]
    assert found("count_agreement", count_check_monthly=rows).assessed == 20


def test_turnarounds_of_a_ward_count_in_the_site_as_well():
    rows = [
        {"unit_id": "u", "ward": "Alder", "ended_at": day(60), "status": "reprocessed", "turnaround_h": 5.0},
        {"unit_id": "u", "ward": "Alder", "ended_at": day(61), "status": "bypassed", "turnaround_h": 5.0},
        {
            "unit_id": "u",
            "ward": "Alder",
            "ended_at": day(62),
            "status": "not_assessable",
            "turnaround_h": None,
        },
    ]
    for ward in ("*", "Alder"):
        row = found("turnaround", ward, turnarounds=rows)
        assert (row.good, row.assessed, row.not_assessable) == (1, 2, 1)


def test_spans_that_were_due_or_cannot_be_assessed_are_the_cases_of_overruns():
    span = {"unit_id": "u", "ward": "Alder", "part": "circuit"}
    rows = [
        span | {"fitted_at": day(60), "decided_at": day(62), "outcome": "within_limit", "due": True},
        span | {"fitted_at": day(60), "decided_at": day(62), "outcome": "within_limit", "due": False},
        span | {"fitted_at": day(60), "decided_at": day(67), "outcome": "overrun", "due": True},
        span | {"fitted_at": day(60), "decided_at": None, "outcome": "not_assessable", "due": False},
    ]
    row = found("overrun_of_due:circuit", part_spans=rows)
    assert (row.good, row.assessed, row.not_assessable) == (1, 2, 1)
