"""The life lines of the report's units: no hole in them, and nothing of them in what leaves the team."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

import pytest
from report_results import HOSTILE_UNIT, HOSTILE_WARD, MONTH, SITE, changeover_case, published

from pipeline.findings import findings
from pipeline.findings.life_lines import unit_lines
from pipeline.findings.model import Column, Table
from pipeline.findings.source import Source
from pipeline.tracing.life_line import STATES
from reports.closer import packed_lines, wards_and_units

READY, WAITING, USE, CYCLE, GAP = (STATES[name] for name in ("ready", "waiting", "use", "cycle", "gap"))


def stay(starts: datetime, ends: datetime | None, unit: str = "u1") -> dict[str, Any]:
    return {"unit_id": unit, "started_at": starts, "ended_at": ends, "overlapping": False, "ward": "Alder"}


def cycle(starts: datetime, ends: datetime, *, valid: bool = True) -> dict[str, Any]:
    return {"unit_id": "u1", "started_at": starts, "ended_at": ends, "valid": valid}


@pytest.fixture
def lines(tmp_path):
    """Return the lines of a month without others before it, with these stays and cycles."""

    def of(stays: list[dict[str, Any]], cycles: list[dict[str, Any]], covered: bool = True, **more: Any):
        months = [
            {"table_name": name, "declared": False, "month": MONTH}
            for name in ("episodes", "disinfections") if covered
        ]  # fmt: skip
        tables = {"patient_stays": stays, "disinfection_cycles": cycles, "covered_months": months, **more}
        return unit_lines(Source(published(tmp_path / "results", tables), SITE, MONTH))

    return of


def states(line) -> list[tuple[str, int]]:
    """States with the day of October on which each ends; 32 is the end of the month."""
    return [(span.state, span.ended_at.day if span.ended_at.month == 10 else 32) for span in line.spans]


def test_a_line_runs_from_use_through_waiting_and_disinfection_to_ready(lines):
    (line,) = lines(
        [stay(datetime(2026, 10, 5), datetime(2026, 10, 9))],
        [cycle(datetime(2026, 10, 11), datetime(2026, 10, 12))],
    )
    assert states(line)[1:] == [(USE, 9), (WAITING, 11), (CYCLE, 12), (READY, 32)]
    assert all(
        one.ended_at == other.started_at for one, other in zip(line.spans, line.spans[1:], strict=False)
    )


@pytest.mark.parametrize(
    ("last_cycle", "state"),
    [(datetime(2026, 9, 12), READY), (datetime(2026, 9, 8), WAITING)],
    ids=["after the stay", "before the stay"],
)
def test_what_ended_last_before_the_line_decides_its_first_state(lines, last_cycle, state):
    (line,) = lines(
        [
            stay(datetime(2026, 9, 9), datetime(2026, 9, 10)),
            stay(datetime(2026, 10, 5), datetime(2026, 10, 9)),
        ],
        [cycle(last_cycle, last_cycle + timedelta(hours=1))],
    )
    assert states(line)[0] == (state, 5)


def test_an_open_stay_lasts_to_the_end_of_what_is_known(lines):
    (line,) = lines([stay(datetime(2026, 10, 5), None)], [])
    assert states(line)[-1] == (USE, 32)


def test_a_unit_without_a_stay_or_cycle_in_these_months_has_no_line(lines):
    assert lines([stay(datetime(2026, 9, 9), datetime(2026, 9, 10))], []) == ()


def test_months_without_records_are_a_gap(lines):
    (line,) = lines([stay(datetime(2026, 10, 5), datetime(2026, 10, 9))], [], covered=False)
    assert states(line) == [(GAP, 5), (USE, 9), (GAP, 32)]


def test_stays_after_an_unprotected_changeover_are_marked_and_others_not(lines):
    cases = [
        changeover_case(0, unit_id="u1"),
        changeover_case(1, unit_id="u1", proof="disinfected"),
        changeover_case(2, unit_id="u2"),
    ]
    (line,) = lines([stay(datetime(2026, 10, 2, 8), datetime(2026, 10, 9))], [], changeovers=cases)
    assert line.marks == (datetime(2026, 10, 2, 8),)


def test_a_packed_line_gives_each_state_its_minutes(tmp_path):
    tables = {
        "patient_stays": [stay(datetime(2026, 10, 2), datetime(2026, 10, 3), HOSTILE_UNIT)],
        "turnaround_monthly": [{"ward": "*", "month": MONTH}],
    }
    text = packed_lines(findings(published(tmp_path, tables), [], [], SITE, MONTH))
    found = json.loads(text)
    assert found["months"] == [["Oct 26", 31]]
    # A day without records and a day in use; 1440 minutes are 140 to base 36.
    assert found["lines"][HOSTILE_UNIT].startswith("E140A140E")


def test_wards_and_units_are_those_that_the_tables_name():
    columns = (Column("Ward"), Column("Unit", "unit"), Column("Where"))
    table = Table("k", "", columns, ((HOSTILE_WARD, HOSTILE_UNIT, "the site"), ("Alder", None, "Alder")))
    assert wards_and_units([table], []) == ([HOSTILE_WARD, "Alder"], [HOSTILE_UNIT])
