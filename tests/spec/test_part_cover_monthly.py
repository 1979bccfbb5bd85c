"""How much of patients' time a part covered that was theirs and within its limit."""

from __future__ import annotations

import pytest
from ward_records import episodes, parts

MODEL = "measures.part_cover_monthly"
CIRCUITS = "[parts.interface]\nper_patient = false\n[parts.water_bag]\nper_patient = false\n"
INTERFACES = "[parts.circuit]\nper_patient = false\n[parts.water_bag]\nper_patient = false\n"
MARCH = CIRCUITS + '[coverage]\npart_changes = ["2026-03"]\n'
APRIL = CIRCUITS + '[coverage]\npart_changes = ["2026-04"]\n'
TWO_DAYS = episodes("p1 | u1 | Alder | 03-10 08:00 | 03-12 08:00")
HOURS = "in_limit_h | over_limit_h | carried_over_h | undocumented_h | not_assessable_h | cover_rate"


def both_rows(*cells: str) -> str:
    """The row of the only ward, and the same for the whole site."""
    return "\n".join((f"ward | {HOURS}", f"Alder | {' | '.join(cells)}", f"* | {' | '.join(cells)}"))


def test_time_with_the_patients_own_part_within_its_limit_is_covered(spec):
    spec(
        given={"episodes": TWO_DAYS, "part_changes": parts("u1 | | circuit | 03-10 08:00 | 03-12 08:00")},
        rules=CIRCUITS,
        model=MODEL,
        expect="""
            ward  | month   | part    | episode_h | in_limit_h | cover_rate
            Alder | 2026-03 | circuit | 48        | 48         | 1
            *     | 2026-03 | circuit | 48        | 48         | 1""",
    )


@pytest.mark.parametrize(
    ("fitted_at", "in_limit", "undocumented", "rate"),
    [("03-10 10:00", "48", "0", "1"), ("03-10 10:00:36", "45.99", "2.01", "0.95813")],
)
def test_a_fitting_charted_within_the_slack_after_the_start_counts_from_the_start(
    spec, fitted_at, in_limit, undocumented, rate
):
    spec(
        given={"episodes": TWO_DAYS, "part_changes": parts(f"u1 | | circuit | {fitted_at} |")},
        rules=MARCH,
        model=MODEL,
        expect=both_rows(in_limit, "0", "0", undocumented, "0", rate),
    )


def test_of_two_parts_in_place_at_the_start_the_later_counts(spec):
    spec(
        given={
            "episodes": TWO_DAYS,
            "part_changes": parts("u1 | | circuit | 03-03 08:00 |", "u1 | | circuit | 03-10 09:00 |"),
        },
        rules=MARCH,
        model=MODEL,
        # The first one, at its limit when the patient came, was on for an hour in the chart only.
        expect=both_rows("48", "0", "0", "0", "0", "1"),
    )


def test_time_past_the_limit_is_over_it_within_the_grace_too(spec):
    spec(
        given={"episodes": TWO_DAYS, "part_changes": parts("u1 | | circuit | 03-04 08:00 |")},
        rules="grace_h = 48\n" + MARCH,
        model=MODEL,
        expect=both_rows("24", "24", "0", "0", "0", "0.5"),
    )


def test_a_part_first_fitted_for_another_patient_is_carried_over_until_it_is_over_its_limit(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Birch | 03-04 08:00 | 03-10 07:00", "p2 | u1 | Alder | 03-10 08:00 | 03-12 08:00"
            ),
            "part_changes": parts("u1 | | circuit | 03-04 08:00 |"),
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            ward  | in_limit_h | over_limit_h | carried_over_h | undocumented_h | cover_rate
            Alder | 0          | 24           | 24             | 0              | 0
            Birch | 143        | 0            | 0              | 0              | 1
            *     | 143        | 24           | 24             | 0              | 0.74869""",
    )


def test_time_without_any_part_is_undocumented(spec):
    spec(
        given={
            "episodes": TWO_DAYS,
            "part_changes": parts(
                "u1 | | circuit | 03-10 08:00 | 03-10 20:00", "u1 | | circuit | 03-11 08:00 | 03-11 20:00"
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect=both_rows("24", "0", "0", "24", "0", "0.5"),
    )


def test_time_before_the_first_fitting_of_the_part_is_not_assessable_and_a_rate_of_nothing_is_empty(spec):
    spec(
        given={
            "episodes": TWO_DAYS,
            "part_changes": parts("u9 | | water_bag | 03-02 08:00 |", "u9 | | circuit | 03-11 08:00 |"),
        },
        rules=CIRCUITS,
        model=MODEL,
        expect=both_rows("0", "0", "0", "24", "24", "0"),
    )
    spec(
        given={"episodes": TWO_DAYS},
        rules=CIRCUITS,
        model=MODEL,
        expect=both_rows("0", "0", "0", "0", "48", ""),
    )


@pytest.mark.parametrize(
    ("rules", "april"),
    [(APRIL, "0 | 0 | 48 |"), (APRIL.replace('["', '["2026-03", "'), "0 | 48 | 0 | 0")],
    ids=["month before not covered", "month before covered"],
)
def test_an_episode_that_ran_into_the_month_is_assessable_only_if_the_month_before_was_covered(
    spec, rules, april
):
    march = "0 | 0 | 24 |" if "03" not in rules else "0 | 24 | 0 | 0"
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 03-31 00:00 | 04-03 00:00")},
        rules=rules,
        model=MODEL,
        expect=f"""
            ward  | month   | in_limit_h | undocumented_h | not_assessable_h | cover_rate
            Alder | 2026-03 | {march}
            *     | 2026-03 | {march}
            Alder | 2026-04 | {april}
            *     | 2026-04 | {april}""",
    )


def test_a_span_covers_even_where_its_absence_could_not_be_told(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-31 00:00 | 04-04 00:00"),
            "part_changes": parts("u1 | | circuit | 04-02 00:00 | 04-03 00:00"),
        },
        rules=APRIL,
        model=MODEL,
        expect="""
            ward  | month   | in_limit_h | undocumented_h | not_assessable_h | cover_rate
            Alder | 2026-03 | 0          | 0              | 24               |
            *     | 2026-03 | 0          | 0              | 24               |
            Alder | 2026-04 | 24         | 0              | 48               | 1
            *     | 2026-04 | 24         | 0              | 48               | 1""",
    )


def test_a_part_is_followed_only_as_far_as_the_records_reach(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-31 00:00 | 04-02 00:00"),
            "part_changes": parts("u1 | | circuit | 03-31 00:00 |"),
        },
        rules=CIRCUITS,
        model=MODEL,
        expect="""
            ward  | month   | in_limit_h | not_assessable_h
            Alder | 2026-03 | 24         | 0
            *     | 2026-03 | 24         | 0
            Alder | 2026-04 | 0          | 24
            *     | 2026-04 | 0          | 24""",
    )


def test_the_time_of_overlapping_episodes_is_not_assessable(spec):
    spec(
        given={
            "episodes": TWO_DAYS + "\np2 | u1 | Alder | 03-11 08:00 | 03-13 08:00",
            "part_changes": parts("u1 | | circuit | 03-10 08:00 |"),
        },
        rules=MARCH,
        model=MODEL,
        expect=both_rows("0", "0", "0", "0", "96", ""),
    )


def test_a_patients_part_covers_on_every_unit(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-10 08:00 | 03-11 08:00", "p1 | u2 | Alder | 03-11 08:00 | 03-12 08:00"
            ),
            "part_changes": parts("| p1 | interface | 03-10 08:00 |"),
        },
        rules=INTERFACES,
        model=MODEL,
        expect=both_rows("48", "0", "0", "0", "0", "1"),
    )


def test_a_part_without_a_limit_is_never_over_it(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 00:00 | 03-31 00:00"),
            "part_changes": parts("u1 | | filter | 03-01 00:00 |"),
        },
        rules="[parts.filter]\n[parts.circuit]\nper_patient = false\n"
        + INTERFACES.replace("circuit", "interface"),
        model=MODEL,
        expect="ward | part | in_limit_h\n Alder | filter | 720\n * | filter | 720",
    )


def test_time_is_split_at_the_sites_own_month_end(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-31 22:00 | 04-01 02:00"),
            "part_changes": parts("u1 | | circuit | 03-31 22:00 | 04-01 02:00"),
        },
        rules='time_zone = "Europe/Dublin"\n' + CIRCUITS,
        model=MODEL,
        expect="""
            ward  | month   | episode_h | in_limit_h
            Alder | 2026-03 | 1         | 1
            *     | 2026-03 | 1         | 1
            Alder | 2026-04 | 3         | 3
            *     | 2026-04 | 3         | 3""",
    )


def test_an_episode_that_began_with_the_month_did_not_run_into_it(spec):
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 04-01 00:00 | 04-02 00:00")},
        rules=APRIL,
        model=MODEL,
        expect=both_rows("0", "0", "0", "24", "0", "0"),
    )


def test_an_episode_that_ended_with_the_month_has_no_row_in_the_next(spec):
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 03-31 00:00 | 04-01 00:00")},
        rules=MARCH,
        model=MODEL,
        expect="ward | month | undocumented_h\n Alder | 2026-03 | 24\n * | 2026-03 | 24",
    )


def test_the_hours_of_the_wards_add_up_to_the_site(spec):
    spec(
        given={
            "episodes": TWO_DAYS + "\np2 | u2 | Birch | 03-10 08:00 | 03-12 08:00",
            "part_changes": parts(
                "u1 | | circuit | 03-04 08:00 | 03-12 07:00", "u2 | | circuit | 03-04 09:00 | 03-12 06:00"
            ),
        },
        rules=MARCH,
        model=MODEL,
        expect="""
            ward  | episode_h | in_limit_h | over_limit_h | undocumented_h
            Alder | 48        | 24         | 23           | 1
            Birch | 48        | 25         | 21           | 2
            *     | 96        | 49         | 44           | 3""",
    )


def test_the_hours_over_the_limit_of_one_part_after_another_add_up(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-10 08:00 | 03-15 08:00"),
            "part_changes": parts("u1 | | circuit | 03-10 08:00 |", "u1 | | circuit | 03-12 08:00 |"),
        },
        rules="[parts.circuit]\nmax_days = 1\n" + MARCH,
        model=MODEL,
        expect=both_rows("48", "72", "0", "0", "0", "0.4"),
    )


def test_the_hours_carried_over_add_up_over_wards(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Cedar | 03-10 08:00 | 03-11 08:00",
                "p2 | u1 | Alder | 03-11 08:00 | 03-12 08:00",
                "p3 | u1 | Birch | 03-12 08:00 | 03-14 08:00",
            ),
            "part_changes": parts("u1 | | circuit | 03-10 08:00 |"),
        },
        rules=MARCH,
        model=MODEL,
        expect="ward | carried_over_h\n Alder | 24\n Birch | 48\n Cedar | 0\n * | 72",
    )
