"""What a ward and the equipment room have to do, most urgent first (contract 4.13)."""

from __future__ import annotations

import pytest
from ward_records import cycles, episodes, parts, readings, samples

MODEL = "facts.worklist"
MARCH = '[coverage]\ndisinfections = ["2026-03"]\npart_changes = ["2026-03"]'
ON_U1 = episodes("p1 | u1 | Alder | 03-02 08:00 |")
CIRCUIT = parts("u1 | | circuit | 03-02 08:00 |")


@pytest.mark.parametrize(
    ("as_of", "listed"),
    [
        ("03-08 07:59:59", ""),
        ("03-08 08:00", "\n part_due | 144"),
        ("03-09 08:00", "\n part_due | 168"),
        ("03-09 08:00:01", "\n part_overdue | 0.00027778"),
    ],
    ids=["a day and a second before", "a day before", "on the limit", "a second past the limit"],
)
def test_a_part_is_due_a_day_before_its_limit_and_overdue_once_past_it(spec, as_of, listed):
    spec(
        given={"episodes": ON_U1, "part_changes": CIRCUIT},
        as_of=as_of,
        model=MODEL,
        expect=f"kind | since_h{listed}",
    )


def test_a_part_names_its_limit_and_whom_it_serves_now(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-02 08:00 | 03-03 08:00", "p2 | u1 | Birch | 03-04 08:00 |"
            ),
            "part_changes": CIRCUIT,
        },
        as_of="03-10 08:00",
        model=MODEL,
        expect="""
            site_id | kind         | ward  | unit_id | part    | patient_key | due_at      | since_h
            T       | part_overdue | Birch | u1      | circuit | p2          | 03-09 08:00 | 24""",
    )


def test_a_part_is_overdue_only_past_the_grace_and_counts_from_the_limit(spec):
    given = {"episodes": ON_U1, "part_changes": CIRCUIT}
    spec(given=given, rules="grace_h = 6", as_of="03-09 14:00", model=MODEL, expect="kind\n part_due")
    spec(
        given=given,
        rules="grace_h = 6",
        as_of="03-09 14:00:01",
        model=MODEL,
        expect="kind | due_at\n part_overdue | 03-09 08:00",
    )


@pytest.mark.parametrize(
    ("given", "as_of"),
    [
        ({"part_changes": parts("u1 | | circuit | 03-02 08:00 | 03-09 09:00")}, "03-10 08:00"),
        (
            {"part_changes": parts("u1 | | circuit | 03-02 08:00 |", "u1 | | circuit | 03-09 08:00 |")},
            "03-10 08:00",
        ),
        ({"episodes": episodes("p1 | u1 | Alder | 03-02 08:00 | 03-10 07:00")}, "03-10 08:00"),
        ({}, "05-01 00:00"),
    ],
    ids=["removed", "replaced", "stay ended", "part changes no longer exported"],
)
def test_a_part_that_is_off_or_out_of_sight_is_not_listed(spec, given, as_of):
    given = {"episodes": ON_U1, "part_changes": CIRCUIT, **given}
    spec(given=given, as_of=as_of, model=MODEL, expect="kind | part")


def test_a_part_that_goes_with_the_patient_is_listed_where_the_patient_is_now(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-02 08:00 | 03-04 08:00", "p1 | u2 | Birch | 03-04 09:00 |"
            ),
            "part_changes": parts("u1 | p1 | interface | 03-02 08:00 |"),
        },
        as_of="03-09 08:00",
        model=MODEL,
        expect="kind | ward | unit_id | patient_key\n part_due | Birch | u2 | p1",
    )


def bag(*logged: str, hung_at: str = "03-02 08:00", as_of_rules: str = "") -> dict[str, str]:
    return {
        "episodes": ON_U1,
        "part_changes": parts(f"u1 | | water_bag | {hung_at} |"),
        "usage_samples": samples(*logged),
    }


# At 43.9 mg/L (37 °C) 40 L/min use 1.77 mL a minute, and a 1000 mL bag lasts some 9.43 h.
FLOWING = "u1 | 03-02 08:00 | in_use | 40 | 37 |"
SMALL = "bag_volume_ml = 1000\nmax_sample_gap_min = 720"


def test_a_bag_is_low_when_the_latest_rate_empties_it_within_twelve_hours(spec):
    spec(
        given=bag(FLOWING),
        rules=SMALL,
        as_of="03-02 08:10",
        model=MODEL,
        expect="""
            kind    | ward  | unit_id | part      | patient_key | due_at         | since_h
            bag_low | Alder | u1      | water_bag | p1          | 03-02 17:25:50 | 0.16667""",
    )


@pytest.mark.parametrize(
    ("volume_ml", "listed"), [(1272, "\n bag_low"), (1274, "")], ids=["just below 12 h", "just above 12 h"]
)
def test_a_bag_that_lasts_longer_than_twelve_hours_is_not_low(spec, volume_ml, listed):
    spec(
        given=bag(FLOWING),
        rules=f"bag_volume_ml = {volume_ml}",
        as_of="03-02 08:00:10",
        model=MODEL,
        expect=f"kind{listed}",
    )


@pytest.mark.parametrize(
    ("as_of", "listed"),
    [("03-02 10:00", "\n bag_low"), ("03-02 10:00:01", "")],
    ids=["2 h", "2 h and a second"],
)
def test_a_bag_whose_unit_has_not_logged_for_two_hours_is_not_judged(spec, as_of, listed):
    spec(given=bag(FLOWING), rules=SMALL, as_of=as_of, model=MODEL, expect=f"kind{listed}")


def test_a_unit_that_is_not_in_use_empties_no_bag(spec):
    spec(
        given=bag(FLOWING, "u1 | 03-02 08:30 | standby | 0 | 37 |"),
        rules=SMALL,
        as_of="03-02 08:40",
        model=MODEL,
        expect="kind",
    )


def test_a_bag_that_the_model_has_empty_is_due_since_then_in_use_or_not(spec):
    spec(
        given=bag(FLOWING, "u1 | 03-02 18:00 | standby | 0 | 37 |"),
        rules=SMALL,
        as_of="03-02 18:30",
        model=MODEL,
        expect="kind | due_at | since_h\n bag_low | 03-02 17:25:50 | 10.5",
    )


def test_a_new_bag_starts_anew(spec):
    given = bag(FLOWING, "u1 | 03-02 17:00 | in_use | 40 | 37 |")
    given["part_changes"] = parts("u1 | | water_bag | 03-02 08:00 |", "u1 | | water_bag | 03-02 17:00 |")
    spec(
        given=given,
        rules=SMALL,
        as_of="03-02 17:10",
        model=MODEL,
        expect="kind | due_at\n bag_low | 03-03 02:25:50",
    )


def test_a_unit_whose_stay_ended_without_a_cycle_waits_from_the_end_until_its_target(spec):
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 03-02 08:00 | 03-05 08:00")},
        rules=f"turnaround_target_h = 12\n{MARCH}",
        as_of="03-05 18:00",
        model=MODEL,
        expect="""
            kind      | ward  | unit_id | part | patient_key | due_at      | since_h
            disinfect | Alder | u1      |      | p1          | 03-05 20:00 | 10""",
    )


@pytest.mark.parametrize(
    "given",
    [
        {"disinfections": cycles("u1 | 03-05 09:00 | 03-05 10:00 | passed")},
        {"unit_status": "unit_id | started_at | status\n u1 | 03-05 09:00 | repair"},
    ],
    ids=["disinfected", "in repair"],
)
def test_a_unit_that_was_disinfected_or_left_the_pool_does_not_wait(spec, given):
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 03-02 08:00 | 03-05 08:00"), **given},
        rules=MARCH,
        as_of="03-05 18:00",
        model=MODEL,
        expect="kind",
    )


HANDED_ON = ("p1 | u1 | Alder | 03-02 08:00 | 03-05 08:00", "p2 | u1 | Birch | 03-06 08:00 |")


def test_a_patient_on_a_unit_after_an_unprotected_changeover_is_listed_from_the_start(spec):
    spec(
        given={"episodes": episodes(*HANDED_ON)},
        rules=MARCH,
        as_of="03-06 18:00",
        model=MODEL,
        expect="""
            kind            | ward  | unit_id | part | patient_key | due_at      | since_h
            in_use_unproven | Birch | u1      |      | p2          | 03-06 08:00 | 10""",
    )


@pytest.mark.parametrize(
    ("cycle", "rules", "listed"),
    [
        ("u1 | 03-05 09:00 | 03-05 10:00 | passed", "", ""),
        ("u1 | 03-05 09:00 | 03-05 10:00 | failed", "", "\n in_use_unproven"),
        ("u1 | 03-05 09:00 | 03-05 10:00 | passed", "max_storage_days = 0.5\n", "\n in_use_unproven"),
        ("u1 | 03-05 09:00 | 03-05 10:00 | passed", "require_storage_proof = true\n", "\n in_use_unproven"),
    ],
    ids=["disinfected", "failed cycle", "stored too long", "storage not proven"],
)
def test_only_an_unprotected_changeover_lists_the_patient(spec, cycle, rules, listed):
    spec(
        given={"episodes": episodes(*HANDED_ON), "disinfections": cycles(cycle)},
        rules=rules + MARCH,
        as_of="03-06 18:00",
        model=MODEL,
        expect=f"kind{listed}",
    )


def test_a_changeover_that_cannot_be_judged_yet_lists_nobody(spec):
    spec(
        given={"episodes": episodes(*HANDED_ON)}, rules=MARCH, as_of="03-06 09:59", model=MODEL, expect="kind"
    )
    spec(given={"episodes": episodes(*HANDED_ON)}, as_of="03-06 18:00", model=MODEL, expect="kind")


def test_a_patient_who_has_left_is_not_listed(spec):
    ended = HANDED_ON[1] + " 03-07 08:00"
    spec(
        given={"episodes": episodes(HANDED_ON[0], ended)},
        rules=MARCH,
        as_of="03-07 10:00",
        model=MODEL,
        expect="kind | patient_key\n disinfect | p2",
    )


@pytest.mark.parametrize(
    ("cycle", "listed"),
    [("failed", "\n in_use_unproven | 03-06 08:00"), ("passed", "")],
    ids=["invalid", "valid"],
)
def test_the_same_patients_return_is_unproven_until_a_valid_cycle(spec, cycle, listed):
    spec(
        given={
            "episodes": episodes(
                HANDED_ON[0], HANDED_ON[1] + " 03-07 08:00", "p2 | u1 | Birch | 03-10 08:00 |"
            ),
            "disinfections": cycles(f"u1 | 03-08 08:00 | 03-08 09:00 | {cycle}"),
        },
        rules=MARCH,
        as_of="03-10 18:00",
        model=MODEL,
        expect=f"kind | due_at{listed}",
    )


def test_a_unit_fitted_and_not_used_is_to_be_checked_and_the_window_says_by_when(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-02 08:00 | 03-03 08:00"),
            "disinfections": cycles("u1 | 03-03 09:00 | 03-03 10:00 | passed"),
            "part_changes": parts("u1 | | circuit | 03-03 11:00 |"),
        },
        rules=MARCH,
        as_of="03-03 21:00",
        model=MODEL,
        expect="""
            kind           | ward  | unit_id | part    | patient_key | due_at      | since_h
            prepared_check | Alder | u1      | circuit |             | 03-04 11:00 | 10""",
    )


@pytest.mark.parametrize(
    "given",
    [
        {"episodes": episodes("p9 | u1 | Alder | 03-03 12:00 |")},
        {"disinfections": cycles("u1 | 03-03 12:00 | | passed")},
        {"part_changes": parts("u1 | | circuit | 03-03 11:00 | 03-03 12:00")},
        {"part_changes": parts("u1 | p1 | interface | 03-03 11:00 |")},
    ],
    ids=["in use", "disinfected since", "removed", "goes with the patient"],
)
def test_what_prepares_no_unit_any_more_needs_no_check(spec, given):
    given = {"part_changes": parts("u1 | | circuit | 03-03 11:00 |"), **given}
    spec(given=given, as_of="03-03 21:00", model=MODEL, expect="kind")


def test_a_patient_in_doubt_is_on_the_unit_all_the_same(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-03 08:00 |", "p2 | u1 | Alder | 03-03 08:00 |"),
            "part_changes": parts("u1 | | circuit | 03-03 11:00 |"),
        },
        as_of="03-03 21:00",
        model=MODEL,
        expect="kind",
    )


COUNTED = readings("u1 | 03-01 08:00 | 12", "u9 | 03-30 08:00 | 40")


@pytest.mark.parametrize(
    ("as_of", "listed"),
    [("03-31 07:59:59", ""), ("03-31 08:00", "\n count_missing | u1 | 03-31 08:00 | 720")],
    ids=["a second before", "30 days"],
)
def test_a_unit_without_a_count_for_thirty_days_is_listed(spec, as_of, listed):
    spec(
        given={"units": "unit_id\n u1\n u9", "count_readings": COUNTED},
        as_of=as_of,
        model=MODEL,
        expect=f"kind | unit_id | due_at | since_h{listed}",
    )


def test_a_unit_never_counted_is_listed_from_its_first_day_or_the_sites_first_count(spec):
    spec(
        given={
            "units": """
                unit_id | ward  | in_service_on
                u1      |       |
                u2      | Alder | 2026-02-15
                u3      |       | 2026-03-06
                u9      |       |""",
            "count_readings": readings("u9 | 03-01 08:00 | 12", "u9 | 04-01 08:00 | 12"),
        },
        as_of="04-02 08:00",
        model=MODEL,
        expect="""
            ward  | unit_id | due_at
                  | u1      | 03-31 08:00
            Alder | u2      | 03-31 08:00""",
    )


@pytest.mark.parametrize(
    "given",
    [
        {"disinfections": "unit_id | started_at | ended_at | outcome | cycle_count\n"
                          "u1 | 03-20 08:00 | 03-20 09:00 | passed | 13"},
        {"unit_status": "unit_id | started_at | status\n u1 | 03-20 08:00 | loan"},
        {"units": "unit_id | retired_on\n u1 | 2026-03-20\n u9 |"},
        {"count_readings": readings("u1 | 03-01 08:00 | 12", "u9 | 03-01 08:00 | 40")},
    ],
    ids=["a cycle told its count", "on loan", "retired", "no count of the site at all"],
)  # fmt: skip
def test_a_unit_that_was_counted_is_away_or_cannot_be_told_is_not_listed(spec, given):
    given = {"units": "unit_id\n u1\n u9", "count_readings": COUNTED, **given}
    spec(given=given, as_of="04-01 08:00", model=MODEL, expect="kind")


def test_a_unit_back_from_loan_is_counted_again(spec):
    spec(
        given={
            "units": "unit_id\n u1\n u9",
            "count_readings": COUNTED,
            "unit_status": "unit_id | started_at | ended_at | status\n u1 | 03-10 08:00 | 03-20 08:00 | loan",
        },
        as_of="04-01 08:00",
        model=MODEL,
        expect="kind | unit_id\n count_missing | u1",
    )


def test_the_patient_on_a_unit_comes_first_then_the_earliest_due(computed):
    connection = computed(
        given={
            "episodes": episodes(
                *HANDED_ON,
                "p3 | u2 | Alder | 02-20 08:00 |",
                "p4 | u3 | Alder | 02-21 08:00 |",
                "p5 | u4 | Alder | 03-01 08:00 | 03-05 08:00",
            ),
            "part_changes": parts("u3 | | circuit | 02-21 08:00 |", "u2 | | circuit | 02-20 08:00 |"),
        },
        rules='[coverage]\ndisinfections = ["2026-02", "2026-03"]',
        as_of="03-06 18:00",
        tables=(MODEL,),
    )
    found = connection.execute(f"select kind, unit_id from {MODEL} order by urgency").fetchall()
    assert found == [
        ("in_use_unproven", "u1"),
        ("part_overdue", "u2"),
        ("part_overdue", "u3"),
        ("disinfect", "u4"),
    ]


def test_each_site_has_its_own_list(spec):
    spec(
        given={
            "episodes": """
                site_id | patient_key | unit_id | ward  | started_at  | ended_at
                N       | p1          | u1      | Alder | 03-02 08:00 | 03-05 08:00
                S       | p1          | u1      | Birch | 03-02 08:00 | 03-05 09:00""",
        },
        rules=MARCH,
        as_of="03-05 18:00",
        model=MODEL,
        expect="site_id | ward | kind | since_h\n N | Alder | disinfect | 10\n S | Birch | disinfect | 9",
    )
