"""A run knows what was known at its instant, and nothing later."""

from __future__ import annotations

from datetime import datetime

import pytest
from conftest import settled
from ward_records import cycles, episodes, parts, samples, sessions

from pipeline.errors import NothingToDo
from pipeline.measures import engine
from pipeline.site_rules import parse_site_rules


@pytest.mark.parametrize(("as_of", "rows"), [("03-05 07:59:59", ""), ("03-05 08:00", "\n p1")])
def test_a_row_that_starts_later_is_left_out(spec, as_of, rows):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-05 08:00 |"),
            "count_readings": "unit_id | read_at | cycle_count\n u1 | 03-01 08:00 | 1",
        },
        as_of=as_of,
        model="occupancy.effective_episodes",
        expect=f"patient_key{rows}",
    )


@pytest.mark.parametrize(("as_of", "ended_at"), [("03-05 07:59:59", ""), ("03-05 08:00", "03-05 08:00")])
def test_an_end_that_lies_later_is_not_yet_known(spec, as_of, ended_at):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-05 08:00"),
            "part_changes": parts("u1 | | circuit | 03-01 08:00 | 03-05 08:00"),
        },
        as_of=as_of,
        model="facts.part_spans",
        expect=f"unit_id | ended_at\n u1 | {ended_at}",
    )
    spec(
        given={"disinfections": cycles("u1 | 03-01 08:00 | 03-05 08:00 | passed")},
        as_of=as_of,
        model="facts.disinfection_cycles",
        expect=f"unit_id | ended_at\n u1 | {ended_at}",
    )


def test_a_session_is_known_up_to_then(spec):
    spec(
        given={"usage_sessions": sessions("u1 | 03-05 08:00 | 03-05 20:00 | 30 |")},
        as_of="03-05 11:00",
        model="facts.therapy_days",
        expect="therapy_h\n 3",
    )


def test_samples_after_it_say_nothing_of_the_one_before(spec):
    spec(
        given={
            "usage_samples": samples(
                "u1 | 03-05 08:00 | in_use | 30 | |", "u1 | 03-05 08:08 | in_use | 30 | |"
            )
        },
        as_of="03-05 08:06",
        model="facts.therapy_days",
        expect="therapy_h\n 0.1",
    )


@pytest.mark.parametrize("latest", ["03-05 08:00", "03-09 08:00"], ids=["a start", "an end"])
def test_without_an_instant_it_is_the_latest_event_in_the_store(latest):
    ended_at = latest if latest != "03-05 08:00" else "03-04 08:00"
    connection = settled(
        {
            "episodes": episodes(f"p1 | u1 | Alder | 03-01 08:00 | {ended_at}"),
            "disinfections": cycles("u1 | 03-05 08:00 | | passed"),
        }
    )
    found = engine.compute(connection, {"T": parse_site_rules('time_zone = "UTC"')})
    assert found == datetime.fromisoformat(f"2026-{latest}")
    assert connection.execute("select as_of from run.settings").fetchall() == [(found,)]


def test_a_store_without_an_event_has_nothing_to_measure():
    with pytest.raises(NothingToDo):
        engine.compute(settled({}), {"T": parse_site_rules('time_zone = "UTC"')})
