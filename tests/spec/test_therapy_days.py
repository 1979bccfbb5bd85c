"""Therapy time by patient and local day, from samples, else sessions, else episodes."""

from __future__ import annotations

import pytest
from ward_records import episodes, samples, sessions

MODEL = "facts.therapy_days"
STAY = episodes("p1 | u1 | Alder | 03-01 08:00 | 03-03 08:00")
DUBLIN = 'time_zone = "Europe/Dublin"'


def test_a_sample_in_use_stands_for_the_time_to_the_next_one_of_any_phase(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_samples": samples(
                "u1 | 03-01 09:00 | in_use | 30 | |",
                "u1 | 03-01 09:05 | in_use | 30 | |",
                "u1 | 03-01 09:09 | standby | 30 | |",
                "u1 | 03-02 09:00 | off | 0 | |",
            ),
        },
        model=MODEL,
        expect="""
            ward  | unit_id | patient_key | local_date | basis   | therapy_h
            Alder | u1      | p1          | 2026-03-01 | samples | 0.15
            Alder | u1      | p1          | 2026-03-03 | episode | 8""",
    )


@pytest.mark.parametrize(
    ("next_at", "therapy_h"),
    [("09:09:59", "0.16639"), ("09:10", "0.16667"), ("09:10:01", "0.16667"), ("15:00", "0.16667")],
)
def test_a_sample_stands_for_the_longest_gap_at_most(spec, next_at, therapy_h):
    spec(
        given={
            "usage_samples": samples(
                "u1 | 03-01 09:00 | in_use | 30 | |", f"u1 | 03-01 {next_at} | off | 0 | |"
            )
        },
        model=MODEL,
        expect=f"therapy_h\n {therapy_h}",
    )


@pytest.mark.parametrize(("as_of", "therapy_h"), [("03-01 09:03", "0.05"), ("03-01 10:00", "0.16667")])
def test_the_last_sample_stands_to_as_of(spec, as_of, therapy_h):
    spec(
        given={"usage_samples": samples("u1 | 03-01 09:00 | in_use | 30 | |")},
        as_of=as_of,
        model=MODEL,
        expect=f"therapy_h\n {therapy_h}",
    )


def test_a_sample_goes_whole_to_the_patient_of_its_instant(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 09:00", "p2 | u1 | Birch | 03-01 09:20 | 03-01 10:00"
            ),
            "usage_samples": samples(
                "u1 | 03-01 08:54 | in_use | 30 | |",
                "u1 | 03-01 09:00 | in_use | 30 | |",
                "u1 | 03-01 09:20 | in_use | 30 | |",
                "u1 | 03-01 09:23 | off | 0 | |",
            ),
        },
        model=MODEL,
        expect="""
            ward  | patient_key | therapy_h
            Alder | p1          | 0.1
                  |             | 0.16667
            Birch | p2          | 0.05""",
    )


def test_of_several_patients_at_once_the_one_that_started_last_counts(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 20:00", "p2 | u1 | Birch | 03-01 09:00 | 03-01 12:00"
            ),
            "usage_samples": samples(
                "u1 | 03-01 08:59:59 | in_use | 30 | |",
                "u1 | 03-01 09:00 | in_use | 30 | |",
                "u1 | 03-01 09:06 | off | 0 | |",
                "u1 | 03-01 12:00 | in_use | 30 | |",
                "u1 | 03-01 12:09 | off | 0 | |",
            ),
        },
        model=MODEL,
        expect="patient_key | therapy_h\n p1 | 0.15028\n p2 | 0.1",
    )


def test_a_sample_is_split_at_local_midnight(spec):
    spec(
        given={
            "usage_samples": samples("u1 | 06-01 22:56 | in_use | 30 | |", "u1 | 06-01 23:05 | off | 0 | |")
        },
        rules=DUBLIN,
        model=MODEL,
        expect="local_date | therapy_h\n 2026-06-01 | 0.066667\n 2026-06-02 | 0.083333",
    )


@pytest.mark.parametrize(
    ("ended_at", "last"),
    [("06-01 23:00", []), ("06-01 23:00:36", ["2026-06-02 | 0.01"])],
    ids=["midnight", "past it"],
)
def test_a_session_is_split_at_local_midnight(spec, ended_at, last):
    spec(
        given={"usage_sessions": sessions(f"u1 | 05-31 21:00 | {ended_at} | 30 |")},
        rules=DUBLIN,
        model=MODEL,
        expect="\n".join(["local_date | therapy_h", "2026-05-31 | 2", "2026-06-01 | 24", *last]),
    )


def test_the_days_on_which_clocks_change_have_23_and_25_hours(spec):
    # Europe/Dublin in 2026: forward on 29 March, back on 25 October (IANA time zone database).
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-28 00:00 | 03-30 23:00", "p2 | u2 | Alder | 10-24 23:00 | 10-27 00:00"
            )
        },
        rules=DUBLIN,
        model=MODEL,
        expect="""
            patient_key | local_date | therapy_h
            p1          | 2026-03-28 | 24
            p1          | 2026-03-29 | 23
            p1          | 2026-03-30 | 24
            p2          | 2026-10-25 | 25
            p2          | 2026-10-26 | 24""",
    )


def test_sessions_are_used_on_a_units_day_without_any_sample(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_samples": samples("u1 | 03-02 23:00 | off | 0 | |", "u2 | 03-01 12:00 | in_use | 20 | |"),
            "usage_sessions": sessions(
                "u1 | 03-01 20:00 | 03-02 04:00 | 30 |", "u1 | 03-03 00:00 | 03-03 01:00 | 30 |"
            ),
        },
        model=MODEL,
        expect="""
            unit_id | patient_key | local_date | basis    | therapy_h
            u1      | p1          | 2026-03-01 | sessions | 4
            u1      | p1          | 2026-03-03 | sessions | 1
            u2      |             | 2026-03-01 | samples  | 0.16667""",
    )


def test_a_session_is_cut_where_episodes_start_and_end(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 10:00", "p2 | u1 | Birch | 03-01 11:00 | 03-01 18:00"
            ),
            "usage_sessions": sessions("u1 | 03-01 07:30 | 03-01 12:00 | 30 |"),
        },
        model=MODEL,
        expect="""
            ward  | patient_key | basis    | therapy_h
            Alder | p1          | sessions | 2
            Birch | p2          | sessions | 1
                  |             | sessions | 1.5""",
    )


def test_episode_time_stands_in_on_a_day_without_either_and_carries_no_water(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 20:00 | 03-02 06:00", "p2 | u2 | Birch | 03-02 20:00 |"
            ),
            "usage_sessions": sessions("u1 | 03-01 10:00 | 03-01 11:00 | 30 |"),
        },
        as_of="03-02 23:00",
        model=MODEL,
        expect="""
            patient_key | local_date | basis    | therapy_h | mean_flow_l_min | water_modelled_ml | low_humidity_h
                        | 2026-03-01 | sessions | 1         | 30              | 79.527            |
            p1          | 2026-03-02 | episode  | 6         |                 |                   |
            p2          | 2026-03-02 | episode  | 3         |                 |                   |""",
    )


def test_the_mean_flow_is_weighted_by_time(spec):
    spec(
        given={
            "usage_samples": samples(
                "u1 | 03-01 09:00 | in_use | 30 | |",
                "u1 | 03-01 09:10 | in_use | 60 | |",
                "u1 | 03-01 09:15 | off | 0 | |",
            )
        },
        model=MODEL,
        expect="therapy_h | mean_flow_l_min\n 0.25 | 40",
    )


@pytest.mark.parametrize(
    ("dew_point", "rules", "water_ml"),
    [
        ("37", "", "79.527"),  # e(37) = 6281.85 Pa (IAPWS): 43.885 mg/L over 1800 L, 0.9933 g/mL
        ("", "", "79.527"),
        ("", "target_dew_point_c = 31", "58.049"),  # e(31) = 4496.63 Pa (IAPWS)
        ("31", "", "58.049"),
        ("37", "inlet_humidity_mg_l = 10", "61.406"),
    ],
    ids=["dew point", "no dew point: the target", "the site's target", "a lower one", "humid inlet"],
)
def test_water_is_what_saturated_gas_carries_at_the_dew_point_over_the_inlet(
    spec, dew_point, rules, water_ml
):
    spec(
        given={"usage_sessions": sessions(f"u1 | 03-01 09:00 | 03-01 10:00 | 30 | {dew_point}")},
        rules=rules,
        model=MODEL,
        expect=f"water_modelled_ml\n {water_ml}",
    )


def humidity(*rows: str) -> str:
    """Samples of 1 March, in use unless at 08:00, when the unit is switched on, or at 10:00, when it is off."""
    return samples(
        "u1 | 03-01 08:00 | heating | 0 | 25 | 37",
        *(f"u1 | 03-01 {row}" for row in rows),
        "u1 | 03-01 10:00 | off | 0 | |",
    )


def test_low_humidity_is_time_more_than_two_degrees_below_the_set_point_once_it_was_nearly_reached(spec):
    spec(
        given={
            "usage_samples": humidity(
                "08:10 | in_use | 30 | 34 | 37",  # not reached yet
                "08:15 | in_use | 30 | 36.49 | 37",  # still not
                "08:16 | in_use | 30 | 34 | 37",
                "08:20 | in_use | 30 | 36.5 | 37",  # reached
                "08:23 | in_use | 30 | 34.99 | 37",  # low: six minutes
                "08:29 | in_use | 30 | 35 | 37",  # just not low
                "08:33 | standby | 0 | 30 | 37",  # not in use
                "08:39 | in_use | 30 | | 37",  # not known
                "08:45 | in_use | 30 | 30 |",  # without a set point
                "08:50 | in_use | 30 | 34 | 37",  # low: three minutes
                "08:53 | off | 0 | |",
            )
        },
        model=MODEL,
        expect="low_humidity_h\n 0.15",
    )


def test_an_hour_after_the_start_of_the_run_low_humidity_counts_without_the_set_point_reached(spec):
    tens = [
        f"{hour:02}:{minute:02} | in_use | 30 | 30 | 37" for hour in (8, 9) for minute in range(0, 60, 10)
    ]
    spec(
        given={"usage_samples": humidity(*tens[1:])},
        model=MODEL,
        expect="therapy_h | low_humidity_h\n 1.8333 | 1",
    )


def test_a_new_run_has_to_reach_the_set_point_again(spec):
    spec(
        given={
            "usage_samples": humidity(
                "08:10 | in_use | 30 | 37 | 37",
                "08:20 | off | 0 | |",
                "08:25 | in_use | 30 | 30 | 37",
                "08:30 | off | 0 | |",
            )
        },
        model=MODEL,
        expect="therapy_h | low_humidity_h\n 0.25 | 0",
    )


def test_without_a_set_point_nothing_is_said_of_low_humidity(spec):
    spec(
        given={"usage_samples": samples("u1 | 03-01 09:00 | in_use | 30 | 20 |")},
        model=MODEL,
        expect="therapy_h | low_humidity_h\n 0.16667 |",
    )


def test_a_single_sample_at_either_end_of_a_utc_day_marks_its_own_local_day(spec):
    # Midnight in Dublin is 23:00 of UTC in June.
    spec(
        given={
            "usage_samples": samples("u1 | 06-02 22:30 | off | 0 | |", "u1 | 06-02 23:00 | off | 0 | |"),
            "usage_sessions": sessions(
                "u1 | 06-01 08:00 | 06-01 09:00 | 30 |",
                "u1 | 06-02 08:00 | 06-02 09:00 | 30 |",
                "u1 | 06-03 08:00 | 06-03 09:00 | 30 |",
                "u1 | 06-04 08:00 | 06-04 09:00 | 30 |",
            ),
        },
        rules=DUBLIN,
        model=MODEL,
        expect="local_date | basis\n 2026-06-01 | sessions\n 2026-06-04 | sessions",
    )


def test_a_sample_at_midnight_belongs_to_the_new_day_alone(spec):
    spec(
        given={
            "usage_samples": samples("u1 | 03-02 00:00 | off | 0 | |"),
            "usage_sessions": sessions(
                "u1 | 03-01 08:00 | 03-01 09:00 | 30 |", "u1 | 03-02 08:00 | 03-02 09:00 | 30 |"
            ),
        },
        model=MODEL,
        expect="local_date | basis\n 2026-03-01 | sessions",
    )


def test_a_session_from_midnight_to_midnight_touches_neither_day_beside_it(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 00:00 | 03-04 00:00"),
            "usage_sessions": sessions("u1 | 03-02 00:00 | 03-03 00:00 | 30 |"),
        },
        model=MODEL,
        expect="""
            local_date | basis    | therapy_h
            2026-03-01 | episode  | 24
            2026-03-02 | sessions | 24
            2026-03-03 | episode  | 24""",
    )


def test_a_sample_at_as_of_stands_for_no_time(spec):
    spec(
        given={"usage_samples": samples("u1 | 03-01 09:00 | in_use | 30 | |")},
        as_of="03-01 09:00",
        model=MODEL,
        expect="therapy_h",
    )


def test_what_lies_past_midnight_adds_to_the_next_days_own(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_samples": samples(
                "u1 | 03-01 23:50 | in_use | 30 | 37 | 37",
                "u1 | 03-01 23:56 | in_use | 30 | 31 | 37",
                "u1 | 03-02 00:03 | standby | 0 | 37 | 37",
                "u1 | 03-02 00:10 | in_use | 60 | 31 | 37",
                "u1 | 03-02 00:16 | in_use | 60 | 37 | 37",
                "u1 | 03-02 00:19 | off | 0 | |",
            ),
        },
        model=MODEL,
        # The second day: 3 min at 30 L/min and 6 at 60 L/min at 31 °C, then 3 at 60 L/min at 37 °C;
        # an hour at 30 L/min takes up 79.527 mL at 37 °C and 58.049 at 31 °C.
        expect="""
            local_date | basis   | therapy_h | mean_flow_l_min | water_modelled_ml | low_humidity_h
            2026-03-01 | samples | 0.16667   | 30              | 11.823            | 0.066667
            2026-03-02 | samples | 0.2       | 52.5            | 22.465            | 0.15
            2026-03-03 | episode | 8         |                 |                   |""",
    )


def test_a_patients_episodes_of_one_day_add_up(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 10:00", "p1 | u1 | Alder | 03-01 11:00 | 03-01 14:00"
            ),
            "usage_sessions": sessions(
                "u1 | 03-01 08:00 | 03-01 10:00 | 30 |",
                "u1 | 03-01 11:00 | 03-01 12:00 | 60 |",
                "u1 | 03-01 13:00 | 03-01 14:00 | 60 |",
            ),
        },
        model=MODEL,
        expect="therapy_h | mean_flow_l_min | water_modelled_ml\n 4 | 45 | 477.16",
    )


def test_low_humidity_of_a_patients_episodes_of_one_day_adds_up(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 08:12", "p1 | u1 | Alder | 03-01 08:15 | 03-01 12:00"
            ),
            "usage_samples": humidity(
                "08:05 | in_use | 30 | 37 | 37",
                "08:06 | in_use | 30 | 30 | 37",
                "08:12 | standby | 0 | 37 | 37",
                "08:18 | in_use | 30 | 30 | 37",
                "08:21 | off | 0 | |",
            ),
        },
        model=MODEL,
        expect="patient_key | therapy_h | low_humidity_h\n p1 | 0.16667 | 0.15",
    )
