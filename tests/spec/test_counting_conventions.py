"""Counting held against what is published of it, and one fact of the trade that nobody publishes."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize(("census_time", "days"), [("00:00", 3), ("09:00", 2), ("12:00", 3)])
def test_device_days_are_counted_at_the_same_time_each_day(computed, census_time, days):
    """CDC NHSN denominator instructions: count at the same time each day; the figures of the toy case derived."""
    connection = computed(
        {
            "episodes": """
                patient_key | unit_id | ward  | started_at  | ended_at
                p1          | u1      | Alder | 01-01 10:00 | 01-04 08:00"""
        },
        rules=f'census_time = "{census_time}"',
    )
    counted = connection.execute(
        "select sum(device_days) from measures.water_monthly where ward = '*'"
    ).fetchone()
    assert counted == (days,)


@pytest.mark.parametrize(
    ("fitted_at", "same_clock_time", "hours"),
    [("2026-03-22 09:00", "2026-03-29 08:00", 167), ("2026-10-18 08:00", "2026-10-25 09:00", 169)],
    ids=["spring", "autumn"],
)
def test_a_week_on_the_clock_is_no_week_of_hours_where_the_clocks_change(
    computed, fitted_at, same_clock_time, hours
):
    """IANA time-zone database, Europe/London 2026: 09:00 to 09:00 local time over the change of the clocks."""
    connection = computed(
        {
            "episodes": f"""
                patient_key | unit_id | ward  | started_at  | ended_at
                p1          | u1      | Alder | {fitted_at} | {same_clock_time}""",
            "part_changes": f"unit_id | part | fitted_at\n u1 | circuit | {fitted_at}",
        },
        rules='time_zone = "Europe/London"',
    )
    found = connection.execute("select in_place_h, outcome from facts.part_spans").fetchone()
    assert found == (hours, "overrun" if hours > 168 else "within_limit")


def test_a_cold_unit_shows_about_thirty_degrees_and_takes_minutes_to_thirty_seven(spec):
    """Common practice, no source; the warm-up itself is made up."""
    spec(
        model="facts.powered_runs",
        given={
            "usage_samples": """
                unit_id | sampled_at  | flow_l_min | dew_point_c | phase
                u1      | 03-02 08:00 | 30         | 30          | heating
                u1      | 03-02 08:04 | 30         | 33.1        | heating
                u1      | 03-02 08:08 | 30         | 35.9        | in_use
                u1      | 03-02 08:12 | 30         | 36.5        | in_use
                u1      | 03-02 08:16 | 30         | 37          | in_use
                u1      | 03-02 08:20 | 0          |             | off"""
        },
        expect="""
            first_dew_point_c | target_reached_at | warmup_min | in_use_before_target_min
            30                | 03-02 08:12       | 12         | 4""",
    )
