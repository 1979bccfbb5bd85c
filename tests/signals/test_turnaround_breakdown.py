"""Turnaround by ward, weekday and shift, where the hours go, and what a target would need."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from results import results

from pipeline.measures.intervals import wilson
from pipeline.signals.target_need import target_need
from pipeline.signals.turnaround_breakdown import hours_parts, turnaround_breakdown


def stay(ended, hours=2.0, status="reprocessed", ward="Alder", next_h=None):
    at = datetime.fromisoformat(ended)
    ready = status == "reprocessed"
    return {
        "unit_id": "u", "patient_key": "p", "ward": ward, "ended_at": at, "status": status, "turnaround_h": hours,
        "wait_h": hours - 1 if ready else None,
        "cycle_started_at": at + timedelta(hours=hours - 1) if ready else None,
        "reprocessed_at": at + timedelta(hours=hours) if ready else None,
        "next_started_at": at + timedelta(hours=next_h) if next_h else None,
    }  # fmt: skip


def rows(stays):
    return results(turnarounds=stays, as_of="2026-12-31").read("turnarounds")


def breakdown(stays, rules: str = "", **window):
    return turnaround_breakdown(
        results(rules, turnarounds=stays, as_of="2026-12-31"), "T", "2026-06", **window
    )


def groups(stays, rules: str = ""):
    return {(group.kind, group.name): group for group in breakdown(stays, rules).groups}


@pytest.mark.parametrize(
    ("at", "shift"),
    [
        ("06:59:59", "night, 23 to 07"),
        ("07:00", "early, 07 to 15"),
        ("14:59:59", "early, 07 to 15"),
        ("15:00", "late, 15 to 23"),
        ("22:59:59", "late, 15 to 23"),
        ("23:00", "night, 23 to 07"),
        ("00:00", "night, 23 to 07"),
    ],
)
def test_a_shift_begins_on_its_hour(at, shift):
    assert ("shift", shift) in groups([stay(f"2026-03-02T{at}")])


def test_weekday_and_shift_are_those_of_local_time():
    # 2026-06-07 is a Sunday; at 22:30 UTC it is Monday, 00:30, in Helsinki (summer, UTC+3: 01:30)
    found = groups([stay("2026-06-07T22:30")], 'time_zone = "Europe/Helsinki"')
    assert ("weekday", "Monday") in found
    assert ("shift", "night, 23 to 07") in found


def test_a_group_of_fewer_than_ten_stays_has_its_counts_alone():
    nine = groups([stay("2026-03-02T08:00")] * 9)[("site", "*")]
    ten = groups([stay("2026-03-02T08:00")] * 10)[("site", "*")]
    assert (nine.ended, nine.median_h, nine.within) == (9, None, None)
    assert (ten.median_h, ten.within, ten.within_limits) == (2.0, 1.0, wilson(10, 10))


def test_the_median_is_the_time_by_which_half_are_reprocessed():
    hours = [float(number) for number in range(1, 11)]
    found = groups([stay("2026-03-02T08:00", number) for number in hours])[("site", "*")]
    assert found.median_h == 5.0
    # Ten tenths add up to a little less than 1 in floating point; it is all of them, and the limits are those of all.
    assert (found.within, found.within_limits) == (1.0, wilson(10, 10))


def test_a_bypassed_stay_never_becomes_ready():
    found = groups([stay("2026-03-02T08:00")] * 8 + [stay("2026-03-02T08:00", 1.0, "bypassed")] * 8)[
        ("site", "*")
    ]
    assert (found.bypassed, found.within) == (8, 0.5)
    assert found.within_limits[0] < 0.5 < found.within_limits[1]


def test_stays_that_cannot_be_assessed_are_counted_apart():
    found = groups([stay("2026-03-02T08:00")] * 10 + [stay("2026-03-02T08:00", None, "not_assessable")])[
        ("site", "*")
    ]
    assert (found.ended, found.not_assessable, found.within) == (11, 1, 1.0)


def test_wards_stand_in_the_order_of_the_alphabet():
    found = groups([stay("2026-03-02T08:00", ward=ward) for ward in ("Cedar", "Alder", "Birch")])
    assert [name for kind, name in found if kind == "ward"] == ["Alder", "Birch", "Cedar"]


def test_the_months_up_to_the_reports_are_taken_together():
    stays = [stay(f"2026-{month:02d}-15T08:00") for month in (1, 5, 6, 7)]
    found = breakdown(stays, months=2)
    assert found.months == ("2026-05", "2026-06")
    assert found.groups[0].ended == 2


def test_the_hours_between_two_patients_add_up():
    parts = {part.name: part for part in hours_parts(rows([
        stay("2026-03-02T08:00", 5.0, next_h=20.0), stay("2026-03-03T08:00", 3.0),
        stay("2026-03-04T08:00", 7.0, "bypassed"),
    ]))}  # fmt: skip
    assert [(part.stays, part.total_h) for part in parts.values()] == [
        (2, 6.0),
        (2, 2.0),
        (1, 15.0),
        (1, 7.0),
    ]
    assert sum(part.share for part in parts.values()) == pytest.approx(1)
    assert parts["waiting for its cycle"].median_h == 3.0


def test_without_a_stay_nothing_is_broken_down():
    found = breakdown([])
    assert found.groups == ()
    assert {part.share for part in found.hours} == {0.0}
    assert found.need.sentence.startswith("Too thin to plan a target by: the outcome of 0 stays is known")


TEN = [stay("2026-03-02T08:00", float(hours)) for hours in range(1, 11)]


def test_a_target_names_how_many_stays_would_have_to_be_sooner():
    need = target_need(rows(TEN), 6)
    assert (need.known, need.late, need.to_bring_forward) == (10, 4, 3)
    assert need.cycle_p90_h == 1.0
    assert need.longest_wait_h == 5.0
    assert need.waits_longer == 4
    assert "for nine in ten 3 more would have to be" in need.sentence


@pytest.mark.parametrize(("target", "forward"), [(8.9, 1), (9, 0), (10, 0)])
def test_a_target_that_nine_in_ten_keep_needs_nothing(target, forward):
    assert target_need(rows(TEN), target).to_bring_forward == forward


def test_a_target_shorter_than_a_cycle_cannot_be_met_by_waiting_less():
    need = target_need(rows(TEN), 1)
    assert need.longest_wait_h is None
    assert "the cycle alone takes 1.0 h in one of ten, so waiting less cannot be enough" in need.sentence


def test_hours_past_the_target_are_those_of_every_stay():
    # Past 8 h: two of ten, by 1 and 2 hours.
    assert target_need(rows(TEN), 8).past_target_h == pytest.approx(0.3)


def test_a_unit_that_still_waits_counts_as_late_once_the_target_has_passed():
    stays = [*TEN, stay("2026-03-02T08:00", 5.9, "waiting"), stay("2026-03-02T08:00", 6.0, "waiting")]
    assert target_need(rows(stays), 6).known == 11
