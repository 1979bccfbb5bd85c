"""Days and instants that limit a question."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from pipeline.errors import UsageError
from pipeline.tracing.period import ALWAYS, Period

DUBLIN = ZoneInfo("Europe/Dublin")


def test_days_are_those_of_the_site_and_the_last_one_counts_to_its_end():
    assert Period("2026-07-01", "2026-07-02").bounds(DUBLIN) == (
        datetime(2026, 6, 30, 23),
        datetime(2026, 7, 2, 23),
    )


def test_instants_are_taken_as_they_are():
    bounds = Period("2026-07-01T10:00:00Z", "2026-07-01T12:00:00+01:00").bounds(DUBLIN)
    assert bounds == (datetime(2026, 7, 1, 10), datetime(2026, 7, 1, 11))


@pytest.mark.parametrize(
    ("start", "end", "meets"),
    [
        ("2026-06-30 12:00", "2026-07-01 00:00", False),
        ("2026-06-30 12:00", "2026-07-01 00:01", True),
        ("2026-07-01 23:59", "2026-07-09 00:00", True),
        ("2026-07-02 00:00", "2026-07-09 00:00", False),
        ("2026-06-01 00:00", None, True),
        ("2026-07-02 00:00", None, False),
        ("2026-07-01 00:00", "2026-07-01 00:00", True),
    ],
)
def test_what_lies_in_the_period_in_part_meets_it(start, end, meets):
    period = Period("2026-07-01", "2026-07-01")
    instants = [datetime.fromisoformat(text) if text else None for text in (start, end)]
    assert period.meets(ZoneInfo("UTC"), *instants) is meets


def test_without_limits_everything_meets_it():
    assert ALWAYS.meets(DUBLIN, datetime(1990, 1, 1), datetime(1990, 1, 1))


@pytest.mark.parametrize(
    ("first", "last"), [("2026-07-02", "2026-07-01"), ("2026-7-1", None), ("2026-02-30", None)]
)
def test_what_is_no_period_is_said(first, last):
    with pytest.raises(UsageError, match=r"2026-"):
        Period(first, last).bounds(DUBLIN)
