"""How many units are in service, in use, waiting to be disinfected and ready."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import duckdb
import pytest
from ward_records import cycles, episodes

MODEL = "measures.fleet_monthly"
COVERED = '[coverage]\nepisodes = ["2026-04"]\ndisinfections = ["2026-04"]'
#: April has 30 days, so that a unit held for three days is a tenth of one in the month.
ONE_STAY = episodes("p1 | u1 | Alder | 04-04 00:00 | 04-07 00:00")


def register(*rows: str) -> str:
    return "\n".join(("unit_id | ward | in_service_on | retired_on", *rows))


def status(*rows: str) -> str:
    return "\n".join(("unit_id | started_at | ended_at | status", *rows))


@pytest.fixture
def site_row(computed: Callable[..., duckdb.DuckDBPyConnection]) -> Callable[..., list[tuple[object, ...]]]:
    """Return columns of the whole site's rows in order of month."""

    def read(
        given: dict[str, str], columns: str, as_of: str = "05-01 00:00", rules: str = COVERED
    ) -> list[Any]:
        connection = computed(given, as_of, rules, (MODEL,))
        return connection.execute(f"select {columns} from {MODEL} where ward = '*' order by month").fetchall()

    return read


def test_time_in_use_and_waiting_is_weighed_over_the_month(spec):
    spec(
        given={
            "units": register("u1 | Alder | 2026-01-01 |", "u2 | Alder | 2026-01-01 |"),
            "episodes": ONE_STAY,
            "disinfections": cycles("u1 | 04-08 12:00 | 04-08 12:00 | passed"),
        },
        rules=COVERED,
        as_of="05-01 00:00",
        model=MODEL,
        expect="""
            ward  | month   | units_in_service | mean_in_use | peak_in_use | mean_waiting | mean_available
            Alder | 2026-04 | 2                | 0.1         | 1           | 0.05         | 1.85
            *     | 2026-04 | 2                | 0.1         | 1           | 0.05         | 1.85""",
    )


def test_use_counts_for_the_episodes_ward_and_idle_time_for_the_units_own(spec):
    spec(
        given={"units": register("u1 | Birch | 2026-01-01 |"), "episodes": ONE_STAY},
        rules=COVERED,
        as_of="04-07 00:00",
        model=MODEL,
        expect="""
            ward  | units_in_service | mean_in_use | mean_available
            Alder | 0                | 0.5         | 0
            Birch | 1                | 0           | 0.5
            *     | 1                | 0.5         | 0.5""",
    )


@pytest.mark.parametrize(
    ("second_start", "peak"),
    [("04-07 00:00", "1"), ("04-06 23:59:59", "2")],
    ids=["as the first ends", "a second before"],
)
def test_the_peak_is_the_most_episodes_at_one_instant(spec, second_start, peak):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 04-04 00:00 | 04-07 00:00",
                f"p2 | u2 | Birch | {second_start} | 04-08 00:00",
            )
        },
        rules=COVERED,
        as_of="05-01 00:00",
        model=MODEL,
        expect=f"ward | peak_in_use\n Alder | 1\n Birch | 1\n * | {peak}",
    )


def test_an_episode_that_runs_on_counts_in_each_month_for_the_time_that_lies_in_it(spec):
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 04-28 00:00 | 05-05 00:00")},
        rules='[coverage]\nepisodes = ["2026-04", "2026-05"]',
        as_of="05-11 00:00",
        model=MODEL,
        expect="""
            ward  | month   | mean_in_use | peak_in_use
            Alder | 2026-04 | 0.1         | 1
            *     | 2026-04 | 0.1         | 1
            Alder | 2026-05 | 0.4         | 1
            *     | 2026-05 | 0.4         | 1""",
    )


def test_a_month_that_the_record_of_episodes_does_not_cover_has_no_row(spec):
    spec(
        given={
            "units": register("u1 | Alder | 2026-01-01 |"),
            "episodes": episodes("p1 | u1 | Alder | 04-04 00:00 | 04-07 00:00"),
            "disinfections": cycles("u1 | 06-08 12:00 | 06-08 13:00 | passed"),
        },
        as_of="07-01 00:00",
        model=MODEL,
        expect="ward | month\n Alder | 2026-04\n * | 2026-04",
    )


def test_means_are_taken_from_the_first_record_on(site_row):
    given = {"episodes": episodes("p1 | u1 | Alder | 04-21 00:00 | 04-26 00:00")}
    assert site_row(given, "mean_in_use, mean_available", rules="") == [(0.5, 0.5)]


@pytest.mark.parametrize(
    ("in_service_on", "retired_on", "units", "available"),
    [
        ("2026-01-01", "", 1, 1),
        ("", "", 1, 1),
        ("2026-04-16", "", 1, 0.5),
        ("2026-01-01", "2026-04-04", 1, 0.1),
        ("2026-01-01", "2026-04-01", 0, 0),
        ("2026-06-01", "", 0, 0),
    ],
)
def test_a_registered_unit_serves_from_its_first_day_until_it_retires(
    site_row, in_service_on, retired_on, units, available
):
    given = {
        "units": register(f"u1 | Birch | {in_service_on} | {retired_on}", "u9 | Alder | 2026-01-01 |"),
        "episodes": episodes("p9 | u9 | Alder | 04-01 00:00 | 05-01 00:00"),
        "ward_census": "ward | counted_on | patients\n Alder | 2026-03-01 | 1",
    }
    assert site_row(given, "units_in_service - 1, mean_available") == [(units, available)]


def test_a_unit_in_repair_is_in_service_and_not_available(spec):
    spec(
        given={
            "units": register("u1 | Alder | 2026-01-01 |", "u2 | Alder | 2026-01-01 |"),
            "unit_status": status("u2 | 04-10 00:00 | 04-25 00:00 | repair"),
            "episodes": ONE_STAY,
            "disinfections": cycles("u1 | 04-07 00:00 | 04-07 00:00 | passed"),
        },
        rules=COVERED,
        as_of="05-01 00:00",
        model=MODEL,
        expect="""
            ward  | units_in_service | mean_in_use | mean_available
            Alder | 2                | 0.1         | 1.4
            *     | 2                | 0.1         | 1.4""",
    )


def test_a_unit_that_no_register_names_serves_in_the_months_from_its_first_trace_to_its_last(site_row):
    given = {
        "units": register("u1 | Alder | 2026-01-01 |"),
        "episodes": episodes(
            "p1 | u1 | Alder | 03-04 00:00 | 03-07 00:00",
            "p2 | x7 | Birch | 04-10 00:00 | 04-11 00:00",
            "p3 | u1 | Alder | 05-04 00:00 | 05-07 00:00",
        ),
    }
    found = site_row(given, "month, units_in_service", as_of="05-30 00:00")
    assert found == [("2026-03", 1), ("2026-04", 2), ("2026-05", 1)]


def test_two_records_of_one_unit_at_once_take_its_time_once(site_row):
    given = {
        "units": register("u1 | Alder | 2026-01-01 |"),
        "episodes": episodes(
            "p1 | u1 | Alder | 04-01 00:00 | 04-11 00:00", "p2 | u1 | Alder | 04-06 00:00 | 04-16 00:00"
        ),
    }
    assert site_row(given, "peak_in_use, mean_available") == [(2, 0.5)]


def test_a_turnaround_that_cannot_be_assessed_adds_no_waiting(site_row):
    rules = '[coverage]\nepisodes = ["2026-04"]'
    assert site_row({"episodes": ONE_STAY}, "mean_waiting", rules=rules) == [(0,)]


def test_a_unit_waits_until_the_next_patient_where_no_cycle_is_on_record(site_row):
    given = {
        "units": register("u1 | Alder | 2026-01-01 |"),
        "episodes": episodes(
            "p1 | u1 | Alder | 04-04 00:00 | 04-07 00:00", "p2 | u1 | Alder | 04-10 00:00 | 04-11 00:00"
        ),
        "unit_status": status("u1 | 04-11 00:00 | | repair"),
    }
    assert site_row(given, "mean_waiting, mean_available") == [(0.1, 0.1)]
