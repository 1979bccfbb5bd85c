"""Patients on a unit at the same time each day."""

from __future__ import annotations

import pytest
from ward_records import episodes

MODEL = "facts.device_days"


@pytest.mark.parametrize(
    ("started_at", "ended_at", "days"),
    [
        ("03-01 12:00", "03-02 12:00", ["2026-03-01"]),
        ("03-01 12:00:01", "03-02 12:00:01", ["2026-03-02"]),
        ("03-01 12:30", "03-02 11:30", []),
    ],
    ids=["from noon to noon", "a second later", "over no noon"],
)
def test_an_episode_in_progress_at_the_census_time_makes_a_device_day(spec, started_at, ended_at, days):
    spec(
        given={"episodes": episodes(f"p1 | u1 | Alder | {started_at} | {ended_at}")},
        model=MODEL,
        expect="local_date\n" + "\n".join(days),
    )


def test_a_patient_on_two_units_is_one_patient(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 20:00",
                "p1 | u2 | Alder | 03-01 09:00 | 03-01 20:00",
                "p2 | u3 | Alder | 03-01 09:00 | 03-01 20:00",
            )
        },
        model=MODEL,
        expect="ward | patient_key\n Alder | p1\n Alder | p2",
    )


def test_the_census_time_is_the_sites_own_local_time(spec):
    # Europe/Dublin is an hour ahead of UTC from 29 March 2026 on: 06:00 and then 05:00 of UTC.
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-28 05:30 | 03-28 06:30", "p2 | u1 | Alder | 03-30 05:30 | 03-30 06:30"
            )
        },
        rules='time_zone = "Europe/Dublin"\ncensus_time = "06:00"',
        model=MODEL,
        expect="patient_key | local_date\n p1 | 2026-03-28",
    )


@pytest.mark.parametrize(("as_of", "days"), [("03-01 12:00", []), ("03-01 12:00:01", ["2026-03-01"])])
def test_an_open_episode_is_in_progress_up_to_as_of(spec, as_of, days):
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 03-01 08:00 |")},
        as_of=as_of,
        model=MODEL,
        expect="local_date\n" + "\n".join(days),
    )
