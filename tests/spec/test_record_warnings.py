"""Accepted rows that need a second look, which only shows beside the other tables."""

from __future__ import annotations

from ward_records import cycles, episodes, parts

MODEL = "facts.record_warnings"


def test_a_missing_end_is_pointed_out_whether_or_not_it_could_be_told(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 |",
                "p2 | u2 | Alder | 03-01 08:00 |",
                "p3 | u3 | Alder | 03-01 08:00 | 03-02 08:00",
            ),
            "disinfections": cycles("u1 | 03-02 08:00 | | passed"),
        },
        model=MODEL,
        expect="""
            warning     | table_name | unit_id | patient_key | warned_at
            missing_end | episodes   | u1      | p1          | 03-01 08:00
            missing_end | episodes   | u2      | p2          | 03-01 08:00""",
    )


def test_both_of_two_contradictory_episodes_are_pointed_out(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-03 08:00", "p2 | u1 | Alder | 03-02 08:00 | 03-04 08:00"
            )
        },
        model=MODEL,
        expect="""
            warning             | table_name | unit_id | patient_key | warned_at
            overlapping_episode | episodes   | u1      | p1          | 03-01 08:00
            overlapping_episode | episodes   | u1      | p2          | 03-02 08:00""",
    )


def test_a_unit_part_without_a_unit_needs_an_episode_of_its_patient_at_that_time(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-03 08:00"),
            "part_changes": parts(
                "| p1 | circuit | 03-01 05:59:59 |",
                "| p1 | circuit | 03-01 06:00 |",
                "| p1 | circuit | 03-03 08:00 |",
            ),
        },
        model=MODEL,
        expect="warning | warned_at\n unlinked | 03-01 05:59:59\n unlinked | 03-03 08:00",
    )


def test_a_patient_part_without_a_patient_needs_an_episode_on_its_unit_then_or_soon_after(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-05 08:00 | 03-06 08:00"),
            "part_changes": parts(
                "u1 | | interface | 03-04 07:59:59 |",
                "u1 | | interface | 03-04 08:00 |",
                "u1 | | interface | 03-06 07:59:59 |",
                "u1 | | interface | 03-06 08:00 |",
            ),
        },
        model=MODEL,
        expect="warning | warned_at\n unlinked | 03-04 07:59:59\n unlinked | 03-06 08:00",
    )
