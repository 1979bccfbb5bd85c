"""Which stays are linked to which, over stays and proofs in short notation."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from pipeline.tracing.links import EARLIER, LATER, Changeover, Stay, Step, links

_BEGIN = datetime(2026, 3, 1)


def steps(text: str, unit: str = "u1") -> list[Step]:
    """Read 'A no_record B disinfected C': patients and the proofs between their stays."""
    words = text.split()
    found: list[Step] = []
    for number, (patient, proof) in enumerate(zip(words[::2], ["", *words[1::2]], strict=True)):
        start = _BEGIN + timedelta(days=number)
        stay = Stay(
            "T", unit, number + 1, patient, "Alder", start, start + timedelta(hours=9), overlapping=False
        )
        found.append((stay, Changeover(proof, 15.0) if proof else None))
    return found


def told(found: list[Step], asked: str) -> list[str]:
    """Return the links as 'direction asked met', with a question mark where they cannot be judged."""
    direction = {LATER: ">", EARLIER: "<"}
    return sorted(
        f"{link.asked.patient_key}{direction[link.direction]}{link.met.patient_key}"
        + ("" if link.is_judged else "?")
        for link in links(found, lambda stay: stay.patient_key in asked)
    )


@pytest.mark.parametrize("proof", ["no_record", "invalid_cycle", "uncharted_use"])
def test_a_later_patient_is_linked_when_no_valid_disinfection_is_known(proof):
    assert told(steps(f"A {proof} B"), "A") == ["A>B"]


@pytest.mark.parametrize("proof", ["disinfected", "expired", "storage_unproven"])
def test_a_disinfection_ends_the_list_whatever_its_storage(proof):
    assert told(steps(f"A {proof} B no_record C"), "A") == []


@pytest.mark.parametrize("proof", ["overlap", "not_assessable", "counter_only", "undecided"])
def test_what_cannot_be_judged_is_listed_apart_and_so_is_all_behind_it(proof):
    assert told(steps(f"A {proof} B no_record C disinfected D"), "A") == ["A>B?", "A>C?"]


def test_every_later_patient_is_linked_until_the_disinfection():
    assert told(steps("A no_record B invalid_cycle C disinfected D no_record E"), "A") == ["A>B", "A>C"]


def test_every_earlier_patient_is_linked_back_to_the_disinfection():
    assert told(steps("X disinfected A no_record B no_record C"), "C") == ["C<A", "C<B"]


def test_an_earlier_patient_behind_a_doubt_is_in_doubt_and_one_in_front_of_it_is_not():
    assert told(steps("A not_assessable B no_record C"), "C") == ["C<A?", "C<B"]


def test_the_same_patient_coming_back_is_no_link_but_passes_one_on():
    assert told(steps("A same_patient A no_record B same_patient B no_record C"), "A") == [
        "A>B",
        "A>B",
        "A>C",
    ]


def test_a_patient_between_two_stays_of_the_one_asked_about_is_met_both_ways():
    assert told(steps("A no_record B no_record A"), "A") == ["A<B", "A>B"]


def test_of_two_stays_asked_about_the_nearest_is_named():
    found = links(steps("A not_assessable A no_record B"), lambda stay: stay.patient_key == "A")
    assert [(link.asked.stay_no, link.is_judged) for link in found] == [(2, True)]


def test_a_link_between_two_patients_asked_about_is_told_once():
    assert told(steps("A no_record B"), "AB") == ["A>B"]


def test_units_do_not_mix():
    assert told([*steps("A no_record B", "u1"), *steps("C no_record A", "u2")], "A") == ["A<C", "A>B"]


def test_the_first_stay_of_a_unit_is_linked_to_nothing_before_it():
    assert told(steps("A"), "A") == []


def test_a_link_names_all_its_proofs_and_one_in_doubt_those_that_leave_it_open():
    linked, doubted = (
        links(steps("A no_record B invalid_cycle C"), lambda stay: stay.patient_key == "A")[1],
        links(steps("A no_record B overlap C"), lambda stay: stay.patient_key == "A")[1],
    )
    assert linked.proofs == ("no_record", "invalid_cycle")
    assert doubted.proofs == ("overlap",)
