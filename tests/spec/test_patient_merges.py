"""Two references that turned out to be one person stand as that person everywhere."""

from __future__ import annotations

import pytest
from ward_records import episodes, parts

EPISODES = "occupancy.effective_episodes"


def merges(*rows: str) -> str:
    return "\n".join(("old_key | new_key | merged_at", *rows))


def test_the_old_reference_stands_as_the_new_one_in_every_table(spec):
    given = {
        "episodes": episodes(
            "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00", "p2 | u1 | Alder | 03-02 09:00 | 03-03 08:00"
        ),
        "part_changes": parts("| p2 | interface | 03-01 08:00 |"),
        "setup_checks": "unit_id | patient_key | checked_at | step | result\n u1 | p1 | 03-01 07:00 | seal | done",
        "patient_merges": merges("p1 | p2 |"),
    }
    spec(given=given, model="facts.patient_stays", expect="patient_key | ended_at\n p2 | 03-03 08:00")
    spec(given=given, model="facts.part_spans", expect="patient_key | ended_at\n p2 | 03-03 08:00")
    spec(given=given, model="measures.setup_monthly", expect="ward | done\n Alder | 1\n * | 1")


@pytest.mark.parametrize(("as_of", "patient"), [("03-05 07:59:59", "p1"), ("03-05 08:00", "p2")])
def test_a_merge_is_known_from_its_own_instant_on(spec, as_of, patient):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 |"),
            "patient_merges": merges("p1 | p2 | 03-05 08:00"),
        },
        as_of=as_of,
        model=EPISODES,
        expect=f"patient_key\n {patient}",
    )


def test_merges_follow_each_other_to_the_last_reference(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 |", "p2 | u2 | Alder | 03-01 08:00 |"),
            "patient_merges": merges("p2 | p3 |", "p1 | p2 |", "p3 | p4 |"),
        },
        model=EPISODES,
        expect="unit_id | patient_key\n u1 | p4\n u2 | p4",
    )


def test_references_that_lead_round_in_a_ring_are_one_person(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 |",
                "p2 | u2 | Alder | 03-01 08:00 |",
                "p3 | u3 | Alder | 03-01 08:00 |",
                "p0 | u4 | Alder | 03-01 08:00 |",
            ),
            "patient_merges": merges("p1 | p2 |", "p2 | p3 |", "p3 | p1 |", "p0 | p3 |"),
        },
        model=EPISODES,
        expect="patient_key\n p1\n p1\n p1\n p1",
    )


def test_a_merge_holds_at_its_own_site_only(spec):
    spec(
        given={
            "episodes": """
                site_id | patient_key | unit_id | ward  | started_at
                T       | p1          | u1      | Alder | 03-01 08:00
                V       | p1          | u1      | Alder | 03-01 08:00""",
            "patient_merges": "site_id | old_key | new_key\n V | p1 | p2",
        },
        model=EPISODES,
        expect="site_id | patient_key\n T | p1\n V | p2",
    )
