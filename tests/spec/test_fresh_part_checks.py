"""Whether a stay began with a part fitted for its patient."""

from __future__ import annotations

import pytest
from ward_records import cycles, episodes, parts

MODEL = "facts.fresh_part_checks"
CIRCUITS = "[parts.interface]\nper_patient = false\n[parts.water_bag]\nper_patient = false\n"
INTERFACES = "[parts.circuit]\nper_patient = false\n[parts.water_bag]\nper_patient = false\n"
MARCH = '[coverage]\npart_changes = ["2026-03"]\n'


def stays(*units: str) -> str:
    return episodes(*(f"p2 | {unit} | Alder | 03-10 08:00 | 03-12 08:00" for unit in units))


def test_a_part_fitted_within_the_preparation_window_or_charted_within_the_slack_is_fresh(spec):
    spec(
        given={
            "episodes": stays("u1", "u2", "u3", "u4", "u5"),
            "part_changes": parts(
                "u1 | | circuit | 03-09 07:59:59 |",
                "u2 | | circuit | 03-09 08:00 |",
                "u3 | | circuit | 03-10 10:00 |",
                "u4 | | circuit | 03-10 10:00:01 |",
            ),
        },
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="""
            ward  | unit_id | patient_key | started_at  | part    | verdict
            Alder | u1      | p2          | 03-10 08:00 | circuit | no_record
            Alder | u2      | p2          | 03-10 08:00 | circuit | fresh
            Alder | u3      | p2          | 03-10 08:00 | circuit | fresh
            Alder | u4      | p2          | 03-10 08:00 | circuit | no_record
            Alder | u5      | p2          | 03-10 08:00 | circuit | no_record""",
    )


def test_a_part_that_came_off_before_the_stay_is_not_its_fresh_part(spec):
    spec(
        given={"episodes": stays("u1"), "part_changes": parts("u1 | | circuit | 03-09 20:00 | 03-10 08:00")},
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="verdict\n no_record",
    )


def test_a_part_of_the_patient_before_is_carried_over(spec):
    spec(
        given={
            "episodes": stays("u1") + "\np1 | u1 | Alder | 03-05 08:00 | 03-09 20:00",
            "part_changes": parts("u1 | | circuit | 03-05 08:00 |"),
        },
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="patient_key | verdict\n p1 | fresh\n p2 | carried_over",
    )


def test_a_part_fitted_in_the_window_that_served_an_earlier_patient_is_not_fresh(spec):
    spec(
        given={
            "episodes": stays("u1") + "\np1 | u1 | Alder | 03-05 08:00 | 03-09 20:00",
            "part_changes": parts("u1 | | circuit | 03-05 08:00 |", "u1 | | circuit | 03-09 09:00 |"),
        },
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="patient_key | verdict\n p1 | fresh\n p2 | carried_over",
    )


def test_a_later_patient_on_the_same_part_does_not_make_it_less_fresh(spec):
    spec(
        given={
            "episodes": stays("u1") + "\np3 | u1 | Alder | 03-12 09:00 | 03-12 20:00",
            "part_changes": parts("u1 | | circuit | 03-10 08:00 |"),
        },
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="patient_key | verdict\n p2 | fresh\n p3 | carried_over",
    )


def test_fresh_comes_before_carried_over(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 08:00 | 03-09 20:00",
                "p2 | u1 | Alder | 03-10 08:00 | 03-10 08:30",
                "p2 | u1 | Alder | 03-10 09:00 | 03-12 08:00",
            ),
            "part_changes": parts("u1 | | circuit | 03-05 08:00 |", "u1 | | circuit | 03-10 08:45 |"),
        },
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="patient_key | verdict\n p1 | fresh\n p2 | fresh",
    )


def test_a_patients_own_earlier_interface_comes_along(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 08:00 | 03-06 08:00",
                "p1 | u2 | Birch | 03-06 08:00 | 03-08 08:00",
                "p1 | u3 | Birch | 03-08 09:00 | 03-09 08:00",
            ),
            "part_changes": parts("| p1 | interface | 03-05 08:00 |", "| p1 | interface | 03-08 08:00 |"),
        },
        rules=INTERFACES + MARCH,
        model=MODEL,
        expect="unit_id | verdict\n u1 | fresh\n u2 | fresh\n u3 | fresh",
    )


@pytest.mark.parametrize(
    ("fitted_at", "verdict"), [("03-06 08:00", "fresh"), ("03-06 07:59:59", "same_patient")]
)
def test_an_interface_fitted_before_the_window_is_the_same_patients(spec, fitted_at, verdict):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-06 06:00 | 03-07 08:00", "p1 | u2 | Birch | 03-07 08:00 | 03-08 08:00"
            ),
            "part_changes": parts(f"| p1 | interface | {fitted_at} |"),
        },
        rules=INTERFACES + MARCH,
        model=MODEL,
        expect=f"unit_id | verdict\n u1 | fresh\n u2 | {verdict}",
    )


def test_another_patients_interface_and_another_units_circuit_say_nothing(spec):
    spec(
        given={
            "episodes": stays("u1"),
            "part_changes": parts("u2 | | circuit | 03-10 08:00 |", "| p9 | interface | 03-10 08:00 |"),
        },
        rules="[parts.water_bag]\nper_patient = false\n" + MARCH,
        model=MODEL,
        expect="part | verdict\n circuit | no_record\n interface | no_record",
    )


@pytest.mark.parametrize(
    ("first", "verdict"), [("03-09 08:00", "no_record"), ("03-09 08:00:01", "not_assessable")]
)
def test_a_window_that_began_before_the_first_fitting_of_the_part_is_not_assessable(spec, first, verdict):
    spec(
        given={
            "episodes": stays("u1"),
            "part_changes": parts("u9 | | water_bag | 03-02 08:00 |", f"u9 | | circuit | {first} |"),
        },
        rules=CIRCUITS,
        model=MODEL,
        expect=f"verdict\n {verdict}",
    )


@pytest.mark.parametrize(
    ("started_at", "as_of", "verdict"),
    [
        ("03-31 22:00", "06-01 00:00", "no_record"),
        ("03-31 22:00:01", "06-01 00:00", "not_assessable"),
        ("03-31 23:00", "03-31 23:30", "undecided"),
    ],
    ids=["the window ends with the month", "one second later", "the window is cut at as_of"],
)
def test_a_window_that_reaches_into_an_uncovered_month_is_not_assessable(spec, started_at, as_of, verdict):
    spec(
        given={"episodes": episodes(f"p1 | u1 | Alder | {started_at} |")},
        rules=CIRCUITS + MARCH,
        as_of=as_of,
        model=MODEL,
        expect=f"verdict\n {verdict}",
    )


def test_what_is_known_needs_no_coverage(spec):
    spec(
        given={"episodes": stays("u1"), "part_changes": parts("u1 | | circuit | 03-10 08:00 |")},
        rules=CIRCUITS,
        model=MODEL,
        expect="verdict\n fresh",
    )


@pytest.mark.parametrize(
    ("as_of", "verdict"), [("03-10 09:59:59", "undecided"), ("03-10 10:00", "no_record")]
)
def test_a_fitting_may_still_be_charted_until_the_slack_after_the_start(spec, as_of, verdict):
    spec(
        given={"episodes": stays("u1")},
        rules=CIRCUITS + MARCH,
        as_of=as_of,
        model=MODEL,
        expect=f"verdict\n {verdict}",
    )


def test_overlapping_stays_are_left_out_and_serve_nobody(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 08:00 | 03-08 08:00",
                "p2 | u1 | Alder | 03-06 08:00 | 03-09 08:00",
                "p3 | u1 | Alder | 03-10 08:00 | 03-12 08:00",
            ),
            "part_changes": parts("u1 | | circuit | 03-05 08:00 |"),
        },
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="patient_key | verdict\n p3 | no_record",
    )


def test_each_stay_is_asked_for_each_part_of_the_rules_that_must_be_new(spec):
    spec(
        given={
            "episodes": stays("u1"),
            "disinfections": cycles("u1 | 03-09 08:00 | 03-09 09:00 | passed"),
            "part_changes": parts("u1 | | filter | 03-09 20:00 |"),
        },
        rules="[parts.filter]\n[parts.circuit]\nper_patient = false\n" + MARCH,
        model=MODEL,
        expect="part | verdict\n filter | fresh\n interface | no_record\n water_bag | no_record",
    )


def test_a_span_that_served_the_patients_earlier_stay_only_is_not_this_ones(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 20:00 | 03-06 06:00",
                "p2 | u1 | Alder | 03-06 07:00 | 03-06 12:00",
                "p1 | u1 | Alder | 03-06 20:00 | 03-07 08:00",
            ),
            "part_changes": parts("u1 | | circuit | 03-05 20:00 | 03-06 06:00"),
        },
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="""
            patient_key | started_at  | verdict
            p1          | 03-05 20:00 | fresh
            p2          | 03-06 07:00 | no_record
            p1          | 03-06 20:00 | no_record""",
    )


def test_an_interface_that_came_off_as_the_stay_began_did_not_serve_it(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 08:00 | 03-07 08:00", "p1 | u2 | Birch | 03-07 08:00 | 03-08 08:00"
            ),
            "part_changes": parts("| p1 | interface | 03-05 08:00 | 03-07 08:00"),
        },
        rules=INTERFACES + MARCH,
        model=MODEL,
        expect="unit_id | verdict\n u1 | fresh\n u2 | no_record",
    )


def test_one_part_carried_over_or_of_the_patients_own_is_enough_beside_a_later_one(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 08:00 | 03-09 20:00", "p2 | u1 | Alder | 03-10 08:00 | 03-12 08:00"
            ),
            "part_changes": parts("u1 | | circuit | 03-05 08:00 |", "u1 | | circuit | 03-10 11:00 |"),
        },
        rules=CIRCUITS + MARCH,
        model=MODEL,
        expect="patient_key | verdict\n p1 | fresh\n p2 | carried_over",
    )
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-05 08:00 | 03-09 20:00", "p1 | u2 | Alder | 03-10 08:00 | 03-12 08:00"
            ),
            "part_changes": parts("| p1 | interface | 03-05 08:00 |", "| p1 | interface | 03-10 11:00 |"),
        },
        rules=INTERFACES + MARCH,
        model=MODEL,
        expect="unit_id | verdict\n u1 | fresh\n u2 | same_patient",
    )


def test_a_stay_still_going_on_has_its_fresh_part(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-10 08:00 |"),
            "part_changes": parts("u1 | | circuit | 03-10 08:00 |"),
        },
        rules=CIRCUITS,
        as_of="03-20 08:00",
        model=MODEL,
        expect="verdict\n fresh",
    )
