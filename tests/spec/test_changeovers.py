"""What is known of a unit between one patient and the next."""

from __future__ import annotations

import pytest
from ward_records import cycles, episodes, readings, samples, sessions

MODEL = "facts.changeovers"
MARCH = '[coverage]\ndisinfections = ["2026-03"]'


def two_stays(units: int = 1) -> str:
    """Two patients, a day apart, on each of some units: 03-02 08:00 to 03-05 08:00, then from 03-06 08:00."""
    return episodes(
        *(f"p1 | u{number} | Alder | 03-02 08:00 | 03-05 08:00" for number in range(1, units + 1)),
        *(f"p2 | u{number} | Birch | 03-06 08:00 | 03-08 08:00" for number in range(1, units + 1)),
    )


def proofs(*named: str) -> str:
    return "unit_id | proof\n" + "\n".join(f"u{number} | {proof}" for number, proof in enumerate(named, 1))


def test_a_changeover_names_both_patients_the_later_ward_and_the_gap(spec):
    spec(
        given={"episodes": two_stays(), "disinfections": cycles("u1 | 03-05 09:00 | 03-05 10:00 | passed")},
        model=MODEL,
        expect="""
            ward  | from_patient_key | to_patient_key | from_ended_at | to_started_at | gap_h | proof
            Birch | p1               | p2             | 03-05 08:00   | 03-06 08:00   | 24    | disinfected""",
    )


def test_a_return_of_the_same_patient_is_no_changeover(spec):
    spec(
        given={
            "episodes": two_stays().replace("p2", "p1"),
            "disinfections": cycles("u1 | 03-05 09:00 | 03-05 10:00 | passed"),
        },
        rules=MARCH,
        model=MODEL,
        expect="proof",
    )


def test_nothing_is_concluded_across_an_overlapping_stay(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00",
                "p2 | u1 | Alder | 03-03 08:00 | 03-06 08:00",
                "p3 | u1 | Alder | 03-04 08:00 | 03-06 09:00",
                "p4 | u1 | Alder | 03-07 08:00 | 03-08 08:00",
            ),
            "disinfections": cycles(
                "u1 | 03-02 09:00 | 03-02 10:00 | passed", "u1 | 03-06 12:00 | 03-06 13:00 | passed"
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            from_patient_key | to_patient_key | proof
            p1               | p2             | overlap
            p2               | p3             | overlap
            p3               | p4             | overlap""",
    )


def test_a_valid_cycle_lies_between_within_the_clocks_tolerance(spec):
    spec(
        given={
            "episodes": two_stays(4),
            "disinfections": cycles(
                "u1 | 03-05 07:50 | 03-05 08:40 | passed",
                "u2 | 03-05 07:49:59 | 03-05 08:40 | passed",
                "u3 | 03-06 07:20 | 03-06 08:10 | passed",
                "u4 | 03-06 07:20 | 03-06 08:10:01 | passed",
            ),
        },
        # Without it the charted end would move back to the cycle.
        rules=f"charting_slack_min = 0\n{MARCH}",
        model=MODEL,
        expect=proofs("disinfected", "no_record", "disinfected", "invalid_cycle"),
    )


def test_any_cycle_that_began_between_makes_it_an_invalid_cycle_whenever_it_ended(spec):
    spec(
        given={
            "episodes": two_stays(5),
            "disinfections": cycles(
                "u1 | 03-05 12:00 | 03-05 13:00 | failed",
                "u2 | 03-05 12:00 | | passed",
                "u3 | 03-05 12:00 | 03-09 12:00 | passed",
                "u4 | 03-06 08:10 | 03-06 09:00 | failed",
                "u5 | 03-06 08:10:01 | 03-06 09:00 | failed",
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect=proofs("invalid_cycle", "invalid_cycle", "invalid_cycle", "invalid_cycle", "no_record"),
    )


def test_one_valid_cycle_is_enough_beside_invalid_ones(spec):
    spec(
        given={
            "episodes": two_stays(),
            "disinfections": cycles(
                "u1 | 03-05 12:00 | 03-05 13:00 | passed", "u1 | 03-05 14:00 | 03-05 15:00 | failed"
            ),
        },
        model=MODEL,
        expect=proofs("disinfected"),
    )


CLEAN = [f"u{number} | 03-05 09:00 | 03-05 10:00 | passed" for number in range(1, 8)]


def test_logged_therapy_that_no_episode_explains_undoes_the_disinfection(spec):
    spec(
        given={
            "episodes": two_stays(7),
            "disinfections": cycles(*CLEAN),
            "usage_sessions": sessions(
                "u1 | 03-05 12:00 | 03-05 12:10 | 30 |",
                "u2 | 03-05 12:00 | 03-05 12:09:59 | 30 |",
                "u3 | 03-05 12:00 | 03-05 12:05 | 30 |",
                "u3 | 03-05 20:00 | 03-05 20:05 | 30 |",
                "u4 | 03-05 10:00 | 03-05 10:20 | 30 |",
                "u5 | 03-05 10:00 | 03-05 10:19:59 | 30 |",
                "u6 | 03-06 05:50 | 03-06 12:00 | 30 |",
                "u7 | 03-06 05:50:01 | 03-06 12:00 | 30 |",
            ),
        },
        model=MODEL,
        # From the cycle's end and the clocks' slack, 10:10, to the next start less the charting slack, 06:00.
        expect=proofs(
            "uncharted_use",
            "disinfected",
            "uncharted_use",
            "uncharted_use",
            "disinfected",
            "uncharted_use",
            "disinfected",
        ),
    )


def test_samples_in_use_count_as_logged_therapy(spec):
    spec(
        given={
            "episodes": two_stays(2),
            "disinfections": cycles(*CLEAN[:2]),
            "usage_samples": samples(
                "u1 | 03-05 12:00 | in_use | 30 | |",
                "u1 | 03-05 13:00 | standby | 0 | |",
                "u2 | 03-05 12:00 | standby | 30 | |",
                "u2 | 03-05 13:00 | standby | 0 | |",
            ),
        },
        model=MODEL,
        expect=proofs("uncharted_use", "disinfected"),
    )


def test_therapy_before_the_latest_valid_cycle_was_cleaned_away(spec):
    spec(
        given={
            "episodes": two_stays(),
            "disinfections": cycles(*CLEAN[:1], "u1 | 03-05 20:00 | 03-05 21:00 | passed"),
            "usage_sessions": sessions("u1 | 03-05 12:00 | 03-05 14:00 | 30 |"),
        },
        model=MODEL,
        expect=proofs("disinfected"),
    )


def test_therapy_within_the_episodes_is_explained(spec):
    spec(
        given={
            "episodes": two_stays(),
            "disinfections": cycles(*CLEAN[:1]),
            "usage_sessions": sessions(
                "u1 | 03-02 08:00 | 03-05 08:00 | 30 |", "u1 | 03-06 08:00 | 03-08 08:00 | 30 |"
            ),
        },
        model=MODEL,
        expect=proofs("disinfected"),
    )


def test_without_a_valid_cycle_uncharted_use_says_nothing_more(spec):
    spec(
        given={
            "episodes": two_stays(2),
            "disinfections": cycles("u2 | 03-05 09:00 | 03-05 10:00 | failed"),
            "usage_sessions": sessions(
                "u1 | 03-05 12:00 | 03-05 14:00 | 30 |", "u2 | 03-05 12:00 | 03-05 14:00 | 30 |"
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect=proofs("no_record", "invalid_cycle"),
    )


def test_a_unit_stored_too_long_after_its_latest_valid_cycle_is_expired(spec):
    spec(
        given={
            "episodes": two_stays(3),
            "disinfections": cycles(
                "u1 | 03-05 08:00 | 03-05 09:00 | passed",
                "u2 | 03-05 08:00 | 03-05 08:59:59 | passed",
                "u3 | 03-05 08:00 | 03-05 08:30 | passed",
                "u3 | 03-05 09:00 | 03-05 09:30 | passed",
            ),
        },
        rules="max_storage_days = 0.9583333333333334",  # 23 hours
        model=MODEL,
        expect=proofs("disinfected", "expired", "disinfected"),
    )


STORED = "unit_id | started_at | ended_at | outcome | storage_protected | status_tagged\n"


def test_storage_must_be_proven_by_the_latest_valid_cycle_where_the_site_asks_for_it(spec):
    spec(
        given={
            "episodes": two_stays(5),
            "disinfections": STORED
            + """u1 | 03-05 09:00 | 03-05 10:00 | passed | true  | true
                 u2 | 03-05 09:00 | 03-05 10:00 | passed | true  | false
                 u3 | 03-05 09:00 | 03-05 10:00 | passed |       | true
                 u4 | 03-05 09:00 | 03-05 10:00 | passed | true  | true
                 u4 | 03-05 11:00 | 03-05 12:00 | passed | false | true
                 u5 | 03-05 09:00 | 03-05 10:00 | passed | false | false
                 u5 | 03-05 11:00 | 03-05 12:00 | passed | true  | true""",
        },
        rules="require_storage_proof = true",
        model=MODEL,
        expect=proofs(
            "disinfected", "storage_unproven", "storage_unproven", "storage_unproven", "disinfected"
        ),
    )


def test_storage_is_not_asked_for_unless_the_rules_say_so(spec):
    spec(
        given={
            "episodes": two_stays(),
            "disinfections": STORED + "u1 | 03-05 09:00 | 03-05 10:00 | passed | false | false",
        },
        model=MODEL,
        expect=proofs("disinfected"),
    )


def test_uncharted_use_comes_before_expired_and_that_before_unproven_storage(spec):
    spec(
        given={
            "episodes": two_stays(3),
            "disinfections": cycles(*CLEAN[:2], "u3 | 03-05 18:00 | 03-05 19:00 | passed"),
            "usage_sessions": sessions("u1 | 03-05 12:00 | 03-05 13:00 | 30 |"),
        },
        rules="max_storage_days = 0.75\nrequire_storage_proof = true",
        model=MODEL,
        expect=proofs("uncharted_use", "expired", "storage_unproven"),
    )


@pytest.mark.parametrize(
    ("first_cycle", "proof"), [("03-05 08:00", "no_record"), ("03-05 08:00:01", "not_assessable")]
)
def test_a_gap_that_began_before_the_records_did_is_not_assessable(spec, first_cycle, proof):
    spec(
        given={"episodes": two_stays(), "disinfections": cycles(f"u9 | {first_cycle} | | passed")},
        model=MODEL,
        expect=proofs(proof),
    )


def test_a_gap_that_reaches_into_an_uncovered_month_is_not_assessable_unless_a_cycle_is_known(spec):
    spec(
        given={
            "episodes": episodes(
                *(f"p1 | u{number} | Alder | 03-02 08:00 | 03-31 08:00" for number in (1, 2, 3)),
                *(f"p2 | u{number} | Alder | 04-01 08:00 | 04-08 08:00" for number in (1, 2, 3)),
            ),
            "disinfections": cycles("u2 | 03-31 12:00 | | failed", "u3 | 03-31 12:00 | 03-31 13:00 | passed"),
        },
        rules=MARCH,
        model=MODEL,
        expect=proofs("not_assessable", "invalid_cycle", "disinfected"),
    )


def test_a_count_that_rose_without_a_record_is_listed_apart(spec):
    spec(
        given={
            "episodes": two_stays(8),
            "count_readings": readings(
                "u1 | 03-01 08:00 | 5",  # as early as the preparation of the stay before
                "u1 | 03-06 10:00 | 6",  # as late as the slack after the next start
                "u2 | 03-01 07:59:59 | 5",
                "u2 | 03-06 10:00 | 6",
                "u3 | 03-01 08:00 | 5",
                "u3 | 03-06 10:00:01 | 6",
                "u4 | 03-04 08:00 | 5",
                "u4 | 03-05 08:00 | 6",  # the latest known by the end
                "u4 | 03-05 20:00 | 6",
                "u5 | 03-05 08:00 | 5",
                "u5 | 03-05 08:00:01 | 5",  # the earliest known after it
                "u5 | 03-05 20:00 | 6",
                "u6 | 03-05 08:00 | 5",
                "u6 | 03-05 20:00 | 5",
                "u7 | 03-05 08:00 | 5",
                "u7 | 03-05 20:00 | 4",
                "u8 | 03-05 08:00 | 5",
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect=proofs(
            "counter_only",
            "no_record",
            "no_record",
            "no_record",
            "no_record",
            "no_record",
            "no_record",
            "no_record",
        ),
    )


def test_the_count_must_rise_by_more_than_the_passed_cycles_recorded_as_ended_between(spec):
    cycle = "03-03 09:00 | 03-03 10:00"
    spec(
        given={
            "episodes": two_stays(4),
            "disinfections": cycles(
                f"u1 | {cycle} | passed",
                f"u2 | {cycle} | passed",
                f"u3 | {cycle} | failed",
                "u4 | 03-02 12:00 | 03-02 13:00 | passed",
            ),
            "count_readings": readings(
                "u1 | 03-02 13:00 | 5",
                "u1 | 03-05 20:00 | 6",
                "u2 | 03-02 13:00 | 5",
                "u2 | 03-05 20:00 | 7",
                "u3 | 03-02 13:00 | 5",
                "u3 | 03-05 20:00 | 6",
                "u4 | 03-02 13:00 | 5",
                "u4 | 03-05 20:00 | 6",
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect=proofs("no_record", "counter_only", "counter_only", "counter_only"),
    )


def test_a_cycle_recorded_as_ended_at_the_second_count_lies_between(spec):
    spec(
        given={
            "episodes": two_stays(),
            "disinfections": cycles("u1 | 03-06 08:11 | 03-06 09:00 | passed"),
            "count_readings": readings("u1 | 03-05 08:00 | 5", "u1 | 03-06 09:00 | 6"),
        },
        rules=MARCH,
        model=MODEL,
        expect=proofs("no_record"),
    )


def test_the_count_that_a_cycle_carries_is_known_at_its_end(spec):
    spec(
        given={
            "episodes": two_stays(),
            "disinfections": """
                unit_id | started_at  | ended_at    | outcome | cycle_count
                u1      | 03-03 09:00 | 03-03 10:00 | passed  | 5""",
            "count_readings": readings("u1 | 03-05 20:00 | 6"),
        },
        rules=MARCH,
        model=MODEL,
        expect=proofs("counter_only"),
    )


def test_a_counter_that_counts_every_cycle_tells_nothing_of_a_passed_one(spec):
    spec(
        given={
            "episodes": two_stays(),
            "count_readings": readings("u1 | 03-05 08:00 | 5", "u1 | 03-05 20:00 | 6"),
        },
        rules=f'counter_counts = "all"\n{MARCH}',
        model=MODEL,
        expect=proofs("no_record"),
    )


def test_the_counter_is_not_asked_where_the_records_do_not_reach(spec):
    spec(
        given={
            "episodes": two_stays(),
            "count_readings": readings("u1 | 03-05 08:00 | 5", "u1 | 03-05 20:00 | 6"),
        },
        model=MODEL,
        expect=proofs("not_assessable"),
    )


@pytest.mark.parametrize(("as_of", "proof"), [("03-06 09:59:59", "undecided"), ("03-06 10:00", "no_record")])
def test_a_record_may_still_be_charted_until_the_slack_after_the_start(spec, as_of, proof):
    spec(given={"episodes": two_stays()}, rules=MARCH, as_of=as_of, model=MODEL, expect=proofs(proof))


def test_a_count_that_rose_is_known_before_the_slack_is_over(spec):
    spec(
        given={
            "episodes": two_stays(),
            "count_readings": readings("u1 | 03-05 08:00 | 5", "u1 | 03-05 20:00 | 6"),
        },
        rules=MARCH,
        as_of="03-06 08:30",
        model=MODEL,
        expect=proofs("counter_only"),
    )


def test_therapy_close_to_the_cycle_or_the_next_start_takes_nothing_from_the_rest(spec):
    spec(
        given={
            "episodes": two_stays(2),
            "disinfections": cycles(*CLEAN[:2]),
            "usage_sessions": sessions(
                "u1 | 03-05 10:01 | 03-05 10:05 | 30 |",
                "u1 | 03-05 12:00 | 03-05 12:10 | 30 |",
                "u2 | 03-05 12:00 | 03-05 12:10 | 30 |",
                "u2 | 03-06 06:30 | 03-06 07:00 | 30 |",
            ),
        },
        model=MODEL,
        expect=proofs("uncharted_use", "uncharted_use"),
    )


@pytest.mark.parametrize(
    ("to_started_at", "proof"), [("04-01 00:00", "no_record"), ("04-01 00:00:01", "not_assessable")]
)
def test_a_gap_up_to_the_last_instant_of_a_covered_month_is_assessable(spec, to_started_at, proof):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-02 08:00 | 03-31 08:00",
                f"p2 | u1 | Alder | {to_started_at} | 04-08 08:00",
            )
        },
        rules=MARCH,
        model=MODEL,
        expect=proofs(proof),
    )
