"""When a patient was on a unit, once the charting slips of starts and ends are settled."""

from __future__ import annotations

from ward_records import cycles, episodes

MODEL = "occupancy.effective_episodes"


def test_a_missing_end_is_the_start_of_the_first_passed_cycle_after_the_start(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 |"),
            "disinfections": cycles(
                "u1 | 03-01 08:00 | 03-01 09:00 | passed",
                "u1 | 03-02 08:00 | 03-02 09:00 | failed",
                "u1 | 03-03 08:00 | 03-03 09:00 | passed",
                "u1 | 03-04 08:00 | 03-04 09:00 | passed",
            ),
        },
        model=MODEL,
        expect="ended_at | end_missing\n 03-03 08:00 | true",
    )


def test_a_missing_end_is_the_next_start_on_the_unit_when_that_is_earlier_than_the_cycle(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 |",
                "p2 | u1 | Alder | 03-02 08:00 | 03-02 20:00",
                "p5 | u1 | Alder | 03-05 08:00 | 03-05 20:00",
                "p3 | u2 | Alder | 03-01 08:00 |",
                "p3 | u2 | Alder | 03-04 08:00 | 03-04 20:00",
                "p4 | u3 | Alder | 03-01 08:00 |",
            ),
            "disinfections": cycles(
                "u1 | 03-02 21:00 | 03-02 22:00 | passed", "u2 | 03-03 08:00 | 03-03 09:00 | passed"
            ),
        },
        model=MODEL,
        expect="""
            patient_key | started_at  | ended_at    | end_missing
            p1          | 03-01 08:00 | 03-02 08:00 | true
            p2          | 03-02 08:00 | 03-02 20:00 | false
            p5          | 03-05 08:00 | 03-05 20:00 | false
            p3          | 03-01 08:00 | 03-03 08:00 | true
            p3          | 03-04 08:00 | 03-04 20:00 | false
            p4          | 03-01 08:00 |             | true""",
    )


def test_the_next_start_that_ends_an_episode_may_be_the_same_patients(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 |", "p1 | u1 | Alder | 03-02 08:00 | 03-02 20:00"
            )
        },
        model=MODEL,
        expect="ended_at\n 03-02 08:00\n 03-02 20:00",
    )


def test_a_charted_end_moves_back_to_a_cycle_that_began_up_to_the_slack_before_it(spec):
    spec(
        given={
            "episodes": episodes(
                *(f"p1 | u{number} | Alder | 03-01 08:00 | 03-02 08:00" for number in range(1, 5))
            ),
            "disinfections": cycles(
                "u1 | 03-02 05:59:59 | 03-02 07:00 | passed",
                "u2 | 03-02 06:00 | 03-02 07:00 | failed",
                "u3 | 03-02 08:00 | 03-02 09:00 | passed",
                "u4 | 03-02 08:00:01 | 03-02 09:00 | passed",
            ),
        },
        model=MODEL,
        expect="""
            unit_id | ended_at
            u1      | 03-02 08:00
            u2      | 03-02 06:00
            u3      | 03-02 08:00
            u4      | 03-02 08:00""",
    )


def test_of_several_cycles_within_the_slack_the_earliest_tells_the_end(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00"),
            "disinfections": cycles(
                "u1 | 03-02 05:00 | 03-02 05:30 | passed",
                "u1 | 03-02 06:30 | | interrupted",
                "u1 | 03-02 07:00 | 03-02 07:30 | passed",
            ),
        },
        model=MODEL,
        expect="ended_at\n 03-02 06:30",
    )


def test_only_a_cycle_that_began_after_the_episode_did_moves_its_end(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 09:00", "p1 | u2 | Alder | 03-01 08:00 | 03-01 09:00"
            ),
            "disinfections": cycles(
                "u1 | 03-01 08:00 | 03-01 08:30 | passed", "u2 | 03-01 08:00:01 | 03-01 08:30 | passed"
            ),
        },
        model=MODEL,
        expect="unit_id | ended_at\n u1 | 03-01 09:00\n u2 | 03-01 08:00:01",
    )


def test_an_end_that_was_never_charted_does_not_move_back(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 |"),
            "disinfections": cycles(
                "u1 | 03-02 07:00 | 03-02 07:30 | failed", "u1 | 03-02 08:00 | 03-02 09:00 | passed"
            ),
        },
        model=MODEL,
        expect="ended_at\n 03-02 08:00",
    )


def test_an_overlap_up_to_the_slack_trims_the_patient_before_and_a_longer_one_is_a_contradiction(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 10:00",
                "p2 | u1 | Alder | 03-02 08:00 | 03-03 08:00",
                "p1 | u2 | Alder | 03-01 08:00 | 03-02 10:00:01",
                "p2 | u2 | Alder | 03-02 08:00 | 03-03 08:00",
            )
        },
        model=MODEL,
        expect="""
            unit_id | patient_key | ended_at       | until          | overlapping
            u1      | p1          | 03-02 08:00    | 03-02 08:00    | false
            u1      | p2          | 03-03 08:00    | 03-03 08:00    | false
            u2      | p1          | 03-02 10:00:01 | 03-02 10:00:01 | true
            u2      | p2          | 03-03 08:00    | 03-03 08:00    | true""",
    )


def test_a_short_episode_inside_another_patients_is_a_contradiction_but_a_common_end_is_not(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 12:00",
                "p2 | u1 | Alder | 03-01 11:00 | 03-01 11:59:59",
                "p1 | u2 | Alder | 03-01 08:00 | 03-01 12:00",
                "p2 | u2 | Alder | 03-01 11:00 | 03-01 12:00",
            )
        },
        model=MODEL,
        expect="""
            unit_id | patient_key | ended_at       | overlapping
            u1      | p1          | 03-01 12:00    | true
            u1      | p2          | 03-01 11:59:59 | true
            u2      | p1          | 03-01 11:00    | false
            u2      | p2          | 03-01 12:00    | false""",
    )


def test_two_patients_who_start_at_one_instant_contradict_each_other_however_short_they_meet(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 08:01",
                "p2 | u1 | Alder | 03-01 08:00 | 03-01 12:00",
                "p3 | u2 | Alder | 03-01 08:00 |",
                "p4 | u2 | Alder | 03-01 08:00 |",
            )
        },
        model=MODEL,
        expect="""
            patient_key | ended_at    | overlapping
            p1          | 03-01 08:01 | true
            p2          | 03-01 12:00 | true
            p3          |             | true
            p4          |             | true""",
    )


def test_episodes_that_only_touch_or_have_no_length_meet_nobody(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00",
                "p2 | u1 | Alder | 03-02 08:00 | 03-03 08:00",
                "p3 | u1 | Alder | 03-01 12:00 | 03-01 12:00",
                "p4 | u1 | Alder | 03-02 08:00 | 03-02 08:00",
            )
        },
        model=MODEL,
        expect="""
            patient_key | ended_at    | overlapping
            p1          | 03-02 08:00 | false
            p2          | 03-03 08:00 | false
            p3          | 03-01 12:00 | false
            p4          | 03-02 08:00 | false""",
    )


def test_two_episodes_of_one_patient_do_not_contradict_each_other(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-05 08:00", "p1 | u1 | Alder | 03-02 08:00 | 03-03 08:00"
            )
        },
        model=MODEL,
        expect="ended_at | overlapping\n 03-05 08:00 | false\n 03-03 08:00 | false",
    )


def test_a_cycle_settles_an_end_before_overlaps_are_judged(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 12:00", "p2 | u1 | Alder | 03-02 11:00 | 03-02 11:30"
            ),
            "disinfections": cycles("u1 | 03-02 10:00 | 03-02 10:50 | passed"),
        },
        model=MODEL,
        expect="""
            patient_key | ended_at    | overlapping
            p1          | 03-02 10:00 | false
            p2          | 03-02 11:30 | false""",
    )


def test_all_pairs_are_judged_on_the_same_ends_before_any_is_trimmed(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 12:00",
                "p2 | u1 | Alder | 03-01 10:00 | 03-01 18:00",
                "p3 | u1 | Alder | 03-01 11:00 | 03-01 11:30",
            )
        },
        model=MODEL,
        expect="""
            patient_key | ended_at    | overlapping
            p1          | 03-01 10:00 | true
            p2          | 03-01 18:00 | true
            p3          | 03-01 11:30 | true""",
    )


def test_of_two_trims_the_earlier_start_counts(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 12:00",
                "p2 | u1 | Alder | 03-01 10:30 | 03-01 12:30",
                "p3 | u1 | Alder | 03-01 11:00 | 03-01 18:00",
            )
        },
        model=MODEL,
        expect="""
            patient_key | ended_at    | overlapping
            p1          | 03-01 10:30 | false
            p2          | 03-01 11:00 | false
            p3          | 03-01 18:00 | false""",
    )


def test_episodes_on_other_units_and_sites_are_nobodys_business(spec):
    spec(
        given={
            "episodes": """
                site_id | patient_key | unit_id | ward  | started_at  | ended_at
                T       | p1          | u1      | Alder | 03-01 08:00 | 03-02 08:00
                T       | p2          | u2      | Alder | 03-01 09:00 | 03-02 08:00
                V       | p3          | u1      | Alder | 03-01 09:00 | 03-02 08:00""",
            "disinfections": "site_id | unit_id | started_at | outcome\n V | u2 | 03-02 07:00 | passed",
        },
        model=MODEL,
        expect="patient_key | ended_at | overlapping\n"
        + "\n".join(f"p{number} | 03-02 08:00 | false" for number in (1, 2, 3)),
    )
