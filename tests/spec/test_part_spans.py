"""How long a part was in place, by which evidence it ended, and whom it served."""

from __future__ import annotations

import pytest

EPISODE = """
    patient_key | unit_id | ward  | started_at  | ended_at
    p1          | u1      | Alder | 03-01 08:00 | 03-20 08:00"""


def fitted(*rows: str) -> str:
    return "unit_id | part | fitted_at | removed_at\n" + "\n".join(rows)


@pytest.mark.parametrize(
    ("removed_at", "outcome"),
    [("03-08 07:59:59", "within_limit"), ("03-08 08:00", "within_limit"), ("03-08 08:00:01", "overrun")],
    ids=["one second early", "exactly on time", "one second late"],
)
def test_the_limit_itself_is_not_an_overrun(spec, removed_at, outcome):
    spec(
        given={"episodes": EPISODE, "part_changes": fitted(f"u1 | circuit | 03-01 08:00 | {removed_at}")},
        model="facts.part_spans",
        expect=f"outcome | end_evidence\n {outcome} | recorded",
    )


@pytest.mark.parametrize(
    ("removed_at", "outcome"), [("03-08 10:00", "within_limit"), ("03-08 10:01", "overrun")]
)
def test_the_grace_is_allowed_past_the_limit(spec, removed_at, outcome):
    spec(
        given={"episodes": EPISODE, "part_changes": fitted(f"u1 | circuit | 03-01 08:00 | {removed_at}")},
        rules="grace_h = 2",
        model="facts.part_spans",
        expect=f"limit_at | outcome\n 03-08 08:00 | {outcome}",
    )


def test_an_overrun_is_decided_when_limit_and_grace_are_past_not_when_the_part_comes_off(spec):
    spec(
        given={"episodes": EPISODE, "part_changes": fitted("u1 | circuit | 03-01 08:00 | 03-12 08:00")},
        rules="grace_h = 3",
        model="facts.part_spans",
        expect="decided_at | overrun_h | in_place_h\n 03-08 11:00 | 96 | 264",
    )


def test_by_the_calendar_a_part_may_stay_to_the_end_of_the_day_seven_days_on(spec):
    spec(
        given={"episodes": EPISODE, "part_changes": fitted("u1 | circuit | 03-01 08:00 | 03-08 23:59")},
        rules='[parts.circuit]\nclock = "calendar"',
        model="facts.part_spans",
        expect="limit_at | outcome\n 03-09 00:00 | within_limit",
    )


def test_the_next_fitting_ends_a_part_of_which_no_removal_was_recorded(spec):
    spec(
        given={
            "episodes": EPISODE,
            "part_changes": fitted(
                "u1 | circuit | 03-01 08:00 |", "u1 | circuit | 03-05 09:00 | 03-06 09:00"
            ),
        },
        model="facts.part_spans",
        expect="""
            fitted_at   | ended_at    | end_evidence | due
            03-01 08:00 | 03-05 09:00 | next_fitting | true
            03-05 09:00 | 03-06 09:00 | recorded     | true""",
    )


@pytest.mark.parametrize(
    ("cycle_at", "evidence"),
    [("03-05 09:10", "episode_end"), ("03-05 09:10:01", "disinfection")],
    ids=["within the clocks' tolerance", "one second past it"],
)
def test_a_cycle_of_any_outcome_ends_a_part_on_the_unit(spec, cycle_at, evidence):
    spec(
        given={
            "episodes": EPISODE.replace("03-01 08:00", "03-05 09:30").replace("03-20 08:00", "03-06 08:00"),
            "part_changes": fitted("u1 | circuit | 03-05 09:00 |"),
            "disinfections": f"unit_id | started_at | ended_at | outcome\n u1 | {cycle_at} | 03-05 09:25 | failed",
        },
        as_of="03-31 00:00",
        model="facts.part_spans",
        expect=f"end_evidence\n {evidence}",
    )


def test_an_interface_goes_with_its_patient_to_the_next_unit(spec):
    spec(
        given={
            "episodes": """
                patient_key | unit_id | ward  | started_at  | ended_at
                p1          | u1      | Alder | 03-01 08:00 | 03-04 08:00
                p1          | u2      | Birch | 03-04 09:00 | 03-09 09:00""",
            "part_changes": "unit_id | patient_key | part | fitted_at\n u1 | p1 | interface | 03-01 08:00",
        },
        model="facts.part_spans",
        expect="unit_id | ward | ended_at | outcome\n u1 | Birch | 03-09 09:00 | overrun",
    )


def test_a_part_still_on_within_its_limit_is_undecided(spec):
    spec(
        given={
            "episodes": EPISODE.replace("03-20 08:00", ""),
            "part_changes": fitted("u1 | circuit | 03-01 08:00 |"),
        },
        as_of="03-04 08:00",
        model="facts.part_spans",
        expect="outcome | end_evidence | ended_at | in_place_h\n undecided | open | | 72",
    )


def test_records_that_stop_leave_an_open_part_not_assessable(spec):
    spec(
        given={
            "episodes": EPISODE.replace("03-01 08:00", "03-29 08:00").replace("03-20 08:00", "04-09 08:00"),
            "part_changes": fitted("u1 | circuit | 03-29 08:00 |"),
        },
        as_of="05-10 00:00",
        model="facts.part_spans",
        expect="outcome | end_evidence\n not_assessable | coverage_end",
    )


def test_a_fitting_that_served_nobody_is_unused(spec):
    spec(
        given={
            "episodes": EPISODE,
            "part_changes": fitted("u2 | circuit | 03-01 08:00 | 03-02 08:00"),
        },
        model="facts.part_spans",
        expect="outcome | due | decided_at\n unused | false |",
    )


TWO_PATIENTS = """
    patient_key | unit_id | ward  | started_at  | ended_at
    p1          | u1      | Alder | 03-01 08:00 | 03-03 08:00
    p2          | u1      | Alder | 03-03 10:00 | 03-05 08:00"""


@pytest.mark.parametrize(
    ("fitted_at", "carried_over"),
    [("03-03 11:59", "0"), ("03-03 12:00:01", "1")],
    ids=["charted within the slack", "charted later"],
)
def test_a_circuit_of_the_patient_before_is_not_carried_over_by_late_charting(spec, fitted_at, carried_over):
    spec(
        given={
            "episodes": TWO_PATIENTS,
            "part_changes": fitted(
                "u1 | circuit | 03-01 08:00 |", f"u1 | circuit | {fitted_at} | 03-05 08:00"
            ),
        },
        model="facts.part_spans",
        expect=f"""
            fitted_at   | carried_over
            03-01 08:00 | {carried_over}
            {fitted_at} | 0""",
    )


def test_a_part_that_need_not_be_new_is_never_carried_over(spec):
    spec(
        given={"episodes": TWO_PATIENTS, "part_changes": fitted("u1 | filter | 03-01 08:00 |")},
        rules="[parts.filter]\nmax_days = 30\nper_patient = false",
        model="facts.part_spans",
        expect="carried_over | patient_key\n 0 | p1",
    )


def test_a_return_after_more_than_the_stay_gap_is_not_served_by_the_old_interface(spec):
    spec(
        given={
            "episodes": """
                patient_key | unit_id | ward  | started_at  | ended_at
                p1          | u1      | Alder | 03-01 08:00 | 03-03 08:00
                p1          | u1      | Alder | 03-04 08:01 | 03-06 08:00""",
            "part_changes": "patient_key | part | fitted_at\n p1 | interface | 03-01 08:00",
        },
        model="facts.part_spans",
        expect="ended_at | end_evidence\n 03-03 08:00 | episode_end",
    )


def test_a_row_that_belongs_to_nobody_is_listed_as_unlinked(spec):
    given = {
        "episodes": EPISODE,
        "part_changes": "patient_key | part | fitted_at\n p9 | circuit | 03-02 08:00",
    }
    spec(given=given, model="facts.part_spans", expect="fitted_at")
    spec(given=given, model="facts.record_warnings", expect="warning | warned_at\n unlinked | 03-02 08:00")
