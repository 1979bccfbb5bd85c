"""Days and months are those of the site's own clock. Zone facts: IANA time zone database."""

from __future__ import annotations

import pytest
from ward_records import episodes, parts

STAY = episodes("p1 | u1 | Alder | 03-01 08:00 | 11-30 08:00")
READING = "unit_id | read_at | cycle_count\n u1 | 01-05 08:00 | 1"


@pytest.mark.parametrize(
    ("zone", "day", "starts_at", "ends_at"),
    [
        ("Europe/Dublin", "2026-03-28", "03-28 00:00", "03-29 00:00"),
        ("Europe/Dublin", "2026-03-29", "03-29 00:00", "03-29 23:00"),
        ("Europe/Dublin", "2026-10-25", "10-24 23:00", "10-26 00:00"),
        ("America/St_Johns", "2026-06-01", "06-01 02:30", "06-02 02:30"),
        ("Australia/Lord_Howe", "2026-04-05", "04-04 13:00", "04-05 13:30"),
        ("Asia/Beirut", "2026-03-29", "03-28 22:00", "03-29 21:00"),
    ],
    ids=["24 hours", "23 hours", "25 hours", "half an hour off", "24.5 hours", "a day without a midnight"],
)
def test_a_local_day_runs_from_midnight_to_midnight_however_long_it_is(
    computed, zone, day, starts_at, ends_at
):
    connection = computed(
        {"count_readings": READING}, rules=f'time_zone = "{zone}"', tables=("facts.known_counts",)
    )
    found = connection.execute(
        "select starts_at, ends_at from run.days where local_date = cast(? as date)", [day]
    )
    assert [f"{at:%m-%d %H:%M}" for at in found.fetchall()[0]] == [starts_at, ends_at]


@pytest.mark.parametrize("zone", ["UTC", "Europe/Dublin", "Asia/Beirut", "Australia/Lord_Howe"])
@pytest.mark.parametrize("table", ["run.days", "run.months"])
def test_days_and_months_follow_each_other_without_gap_or_overlap(computed, zone, table):
    connection = computed(
        {"count_readings": READING}, rules=f'time_zone = "{zone}"', tables=("facts.known_counts",)
    )
    rows = connection.execute(f"select starts_at, ends_at from {table} order by starts_at").fetchall()
    assert len(rows) > 10
    assert [ends_at for _, ends_at in rows[:-1]] == [starts_at for starts_at, _ in rows[1:]]


@pytest.mark.parametrize(
    ("fitted_at", "limit_at"),
    [
        ("03-21 23:59:59", "03-28 00:00"),
        ("03-22 00:00", "03-29 23:00"),
        ("03-22 23:59:59", "03-29 23:00"),
        ("03-23 00:00", "03-30 23:00"),
    ],
)
def test_the_calendar_clock_runs_out_at_the_end_of_the_local_day(spec, fitted_at, limit_at):
    # Clocks in Dublin go forward on 29 March 2026, which ends at 23:00 of UTC.
    days = 6 if fitted_at < "03-22" else 7
    spec(
        given={"episodes": STAY, "part_changes": parts(f"u1 | | circuit | {fitted_at} |")},
        rules=f'time_zone = "Europe/Dublin"\n[parts.circuit]\nclock = "calendar"\nmax_days = {days}',
        model="facts.part_spans",
        expect=f"limit_at\n {limit_at}",
    )


def test_the_elapsed_clock_counts_hours_whatever_clocks_do(spec):
    spec(
        given={"episodes": STAY, "part_changes": parts("u1 | | circuit | 03-26 08:00 |")},
        rules='time_zone = "Europe/Dublin"',
        model="facts.part_spans",
        expect="limit_at\n 04-02 08:00",
    )
