"""How many parts a stay needs by the rules, and how many it used."""

from __future__ import annotations

import pytest
from ward_records import episodes, parts, sessions

MODEL = "facts.part_need"
#: A part without a limit needs no number; these two keep theirs.
WEEKLY = "[parts.filter]\nper_patient = false\n"


def needs(*rows: str) -> str:
    return "\n".join(("unit_id | part | needed", *rows))


def each_part(needed: int) -> str:
    return "part | needed\n" + "\n".join(
        f"{part} | {needed}" for part in ("circuit", "interface", "water_bag")
    )


@pytest.mark.parametrize(
    ("ended_at", "needed"),
    [
        ("03-01 08:00", 1),
        ("03-08 08:00", 1),
        ("03-08 08:00:01", 2),
        ("03-15 08:00", 2),
        ("03-15 08:00:01", 3),
    ],
)
def test_a_stay_needs_one_part_and_one_more_for_each_limit_begun(spec, ended_at, needed):
    spec(
        given={"episodes": episodes(f"p1 | u1 | Alder | 03-01 08:00 | {ended_at}")},
        rules=WEEKLY,
        model=MODEL,
        expect=each_part(needed),
    )


@pytest.mark.parametrize(("ended_at", "needed"), [("03-09 08:00", 1), ("03-09 08:00:01", 2)])
def test_the_hours_of_its_episodes_add_up_without_the_breaks(spec, ended_at, needed):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-05 08:00", f"p1 | u1 | Alder | 03-06 08:00 | {ended_at}"
            )
        },
        model=MODEL,
        expect=each_part(needed),
    )


@pytest.mark.parametrize(("as_of", "needed"), [("03-08 08:00", 1), ("03-08 08:00:01", 2)])
def test_an_open_stay_is_cut_at_as_of(spec, as_of, needed):
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 03-01 08:00 |")},
        as_of=as_of,
        model=MODEL,
        expect=each_part(needed),
    )


@pytest.mark.parametrize(("volume", "bags"), [("79.6", 1), ("79.5", 2), ("39.5", 3)])
def test_water_bags_are_needed_for_the_modelled_water_too(spec, volume, bags):
    # An hour at 30 L/min and 37 °C takes up 79.527 mL.
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00"),
            "usage_sessions": sessions(
                "u1 | 03-01 07:00 | 03-01 08:30 | 30 |", "u1 | 03-02 00:00 | 03-02 00:30 | 30 |"
            ),
        },
        rules=f"bag_volume_ml = {volume}",
        model=MODEL,
        expect=f"part | needed\n circuit | 1\n interface | 1\n water_bag | {bags}",
    )


def test_used_are_the_spans_of_which_the_time_in_place_overlaps_the_stay(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-10 08:00 | 03-12 08:00", "p1 | u2 | Alder | 03-20 08:00 | 03-22 08:00"
            ),
            "part_changes": parts(
                "u1 | | circuit | 03-09 08:00 | 03-10 08:00",
                "u1 | | circuit | 03-10 08:00 | 03-11 08:00",
                "u1 | | circuit | 03-11 08:00 | 03-11 09:00",
                "u1 | | circuit | 03-12 07:59:59 | 03-13 08:00",
                "u1 | | circuit | 03-12 08:00 | 03-13 08:00",
                "u9 | | circuit | 03-11 08:00 | 03-11 09:00",
                "u1 | p1 | interface | 03-11 08:00 | 03-13 08:00",
                "u1 | p9 | interface | 03-11 08:00 | 03-13 08:00",
            ),
        },
        model=MODEL,
        expect="""
            ward  | unit_id | stay_no | patient_key | part      | started_at  | needed | used
            Alder | u1      | 1       | p1          | circuit   | 03-10 08:00 | 1      | 3
            Alder | u1      | 1       | p1          | interface | 03-10 08:00 | 1      | 1
            Alder | u1      | 1       | p1          | water_bag | 03-10 08:00 | 1      | 0
            Alder | u2      | 1       | p1          | circuit   | 03-20 08:00 | 1      | 0
            Alder | u2      | 1       | p1          | interface | 03-20 08:00 | 1      | 0
            Alder | u2      | 1       | p1          | water_bag | 03-20 08:00 | 1      | 0""",
    )


def test_the_water_of_another_stay_of_the_patient_is_not_this_ones(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00", "p1 | u1 | Alder | 03-05 08:00 | 03-06 08:00"
            ),
            "usage_sessions": sessions("u1 | 03-01 08:00 | 03-01 10:00 | 30 |"),
        },
        rules="bag_volume_ml = 79.5",
        model=MODEL,
        expect="""
            stay_no | part      | needed
            1       | circuit   | 1
            1       | interface | 1
            1       | water_bag | 3
            2       | circuit   | 1
            2       | interface | 1
            2       | water_bag | 1""",
    )


def test_an_open_stay_has_used_what_was_in_place_up_to_as_of(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 |"),
            "part_changes": parts("u1 | | circuit | 03-01 08:00 |", "u1 | | circuit | 03-03 08:00 |"),
        },
        as_of="03-05 08:00",
        model=MODEL,
        expect="part | used\n circuit | 2\n interface | 0\n water_bag | 0",
    )
