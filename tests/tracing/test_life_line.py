"""A unit's time, each moment in one state."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise

import pytest

from pipeline.tracing.life_line import Segment, gaps, life_line


def at(hour: int) -> datetime:
    return datetime(2026, 3, 1, hour)


def line(*held: tuple[str, int, int], begins: int = 0, ends: int = 20) -> list[tuple[str, int, int]]:
    told = [Segment(state, at(start), at(end)) for state, start, end in held]
    return [(s.state, s.started_at.hour, s.ended_at.hour) for s in life_line(told, at(begins), at(ends))]


def test_after_use_a_unit_waits_until_a_valid_cycle_ended_and_is_ready_then():
    assert line(("use", 2, 5), ("cycle", 8, 9), ("use", 12, 14)) == [
        ("unknown", 0, 2), ("use", 2, 5), ("waiting", 5, 8), ("cycle", 8, 9), ("ready", 9, 12), ("use", 12, 14),
        ("waiting", 14, 20),
    ]  # fmt: skip


def test_a_cycle_that_does_not_count_changes_nothing():
    assert line(("use", 2, 5), ("bad_cycle", 8, 9))[2:] == [
        ("waiting", 5, 8),
        ("bad_cycle", 8, 9),
        ("waiting", 9, 20),
    ]


def test_after_missing_records_nothing_of_before_holds():
    assert line(("cycle", 1, 2), ("gap", 5, 8))[2:] == [("ready", 2, 5), ("gap", 5, 8), ("unknown", 8, 20)]


def test_out_of_the_pool_is_shown_over_waiting_and_waiting_goes_on_after_it():
    assert line(("use", 0, 2), ("out", 4, 6)) == [
        ("use", 0, 2), ("waiting", 2, 4), ("out", 4, 6), ("waiting", 6, 20),
    ]  # fmt: skip


def test_use_is_shown_over_all_but_a_doubt():
    assert line(("out", 0, 20), ("use", 2, 8), ("doubt", 4, 6), ("cycle", 2, 3)) == [
        ("out", 0, 2), ("use", 2, 4), ("doubt", 4, 6), ("use", 6, 8), ("out", 8, 20),
    ]  # fmt: skip


def test_of_use_and_a_cycle_that_end_together_use_decides():
    assert line(("use", 1, 5), ("cycle", 4, 5))[-1] == ("waiting", 5, 20)


@pytest.mark.parametrize(("begins", "ends"), [(0, 20), (3, 4), (5, 12)])
def test_no_moment_is_left_out(begins, ends):
    found = line(("use", 2, 5), ("gap", 7, 9), ("cycle", 9, 10), begins=begins, ends=ends)
    assert (found[0][1], found[-1][2]) == (begins, ends)
    assert all(one[2] == other[1] for one, other in pairwise(found))


def test_gaps_are_what_lies_between_covered_times():
    found = gaps([(at(2), at(5)), (at(5), at(7)), (at(9), at(12))], at(0), at(20))
    assert [(gap.started_at.hour, gap.ended_at.hour) for gap in found] == [(0, 2), (7, 9), (12, 20)]


def test_without_any_records_all_is_a_gap():
    assert [(gap.started_at.hour, gap.ended_at.hour) for gap in gaps([], at(1), at(3))] == [(1, 3)]
