"""When a water bag ran empty by the model, and how long therapy went on."""

from __future__ import annotations

import pytest
from ward_records import episodes, samples, sessions

MODEL = "facts.bag_runs"
STAY = episodes("p1 | u1 | Alder | 03-01 00:00 | 03-04 00:00")
#: At 30 L/min and 37 °C the model takes up 79.527 mL an hour, so that 100 mL last 4526.8 s.
FLOWING = sessions("u1 | 03-01 08:00 | 03-01 20:00 | 30 |")


def bags(*rows: str) -> str:
    return "\n".join(("unit_id | part | fitted_at | removed_at | volume_ml", *rows))


def test_a_bag_is_empty_when_the_modelled_water_reaches_its_volume_and_dry_until_it_came_off(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": FLOWING,
            "part_changes": bags("u1 | water_bag | 03-01 07:00 | 03-01 11:15 | 100"),
        },
        model=MODEL,
        # Therapy from 08:00 to 11:15 is 195 min, of which 75.447 with water.
        expect="""
            unit_id | hung_at     | volume_ml | modelled_empty_at | next_hung_at | dry_therapy_min
            u1      | 03-01 07:00 | 100       | 03-01 09:15:26    |              | 119.55""",
    )


def test_a_bag_that_outlasts_its_therapy_has_no_dry_minutes(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": FLOWING,
            "part_changes": bags("u1 | water_bag | 03-01 07:00 | 03-01 09:15:26 | 100"),
        },
        model=MODEL,
        expect="modelled_empty_at | dry_therapy_min\n | 0",
    )


def test_a_bag_whose_unit_logged_nothing_meanwhile_has_no_value(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": FLOWING,
            "part_changes": bags("u1 | water_bag | 03-02 07:00 | 03-02 12:00 | 100"),
        },
        model=MODEL,
        expect="modelled_empty_at | dry_therapy_min\n |",
    )


def test_only_therapy_while_the_bag_hangs_uses_its_water(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": FLOWING,
            "part_changes": bags("u1 | water_bag | 03-01 10:00 | 03-01 12:00 | 100"),
        },
        model=MODEL,
        expect="modelled_empty_at | dry_therapy_min\n 03-01 11:15:26 | 44.554",
    )


def test_time_without_therapy_uses_none(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": sessions(
                "u1 | 03-01 08:00 | 03-01 09:00 | 30 |", "u1 | 03-01 18:00 | 03-01 20:00 | 30 |"
            ),
            "part_changes": bags("u1 | water_bag | 03-01 07:00 | 03-02 07:00 | 100"),
        },
        model=MODEL,
        expect="modelled_empty_at | dry_therapy_min\n 03-01 18:15:26 | 104.55",
    )


def test_without_a_volume_a_bag_counts_as_the_sites_nominal_one_of_which_a_share_reaches_the_unit(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": FLOWING,
            "part_changes": bags("u1 | water_bag | 03-01 07:00 | 03-01 11:15 |"),
        },
        rules="bag_volume_ml = 200\nbag_usable_fraction = 0.5",
        model=MODEL,
        expect="volume_ml | modelled_empty_at\n 200 | 03-01 09:15:26",
    )


def test_the_next_bag_is_the_next_on_the_unit_and_takes_over(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": FLOWING,
            "part_changes": bags(
                "u1 | water_bag | 03-01 07:00 | | 100",
                "u2 | water_bag | 03-01 08:00 | | 100",
                "u1 | circuit   | 03-01 08:30 | |",
                "u1 | water_bag | 03-01 09:00 | | 100",
            ),
        },
        model=MODEL,
        expect="""
            unit_id | hung_at     | modelled_empty_at | next_hung_at | dry_therapy_min
            u1      | 03-01 07:00 |                   | 03-01 09:00  | 0
            u1      | 03-01 09:00 | 03-01 10:15:26    |              | 584.55
            u2      | 03-01 08:00 |                   |              |""",
    )


def test_a_sample_that_stands_across_the_change_feeds_from_both_bags(spec):
    minutes = [
        f"u1 | 03-01 {hour:02}:{minute:02} | in_use | 30 | |"
        for hour in (8, 9)
        for minute in range(0, 60, 10)
    ]
    spec(
        given={
            "episodes": STAY,
            "usage_samples": samples(*minutes),
            "part_changes": bags(
                "u1 | water_bag | 03-01 07:00 | | 100", "u1 | water_bag | 03-01 08:05 | | 100"
            ),
        },
        model=MODEL,
        expect="""
            hung_at     | modelled_empty_at | dry_therapy_min
            03-01 07:00 |                   | 0
            03-01 08:05 | 03-01 09:20:26    | 39.554""",
    )


@pytest.mark.parametrize(("flow", "empty_at"), [("15", "03-01 10:30:53"), ("30", "03-01 09:15:26")])
def test_less_flow_empties_a_bag_later(spec, flow, empty_at):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": FLOWING.replace("| 30 |", f"| {flow} |"),
            "part_changes": bags("u1 | water_bag | 03-01 07:00 | 03-01 19:00 | 100"),
        },
        model=MODEL,
        expect=f"modelled_empty_at\n {empty_at}",
    )


def test_therapy_after_the_bag_came_off_is_not_its_own(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": sessions(
                "u1 | 03-01 08:00 | 03-01 09:20 | 30 |", "u1 | 03-01 10:00 | 03-01 12:00 | 30 |"
            ),
            "part_changes": bags("u1 | water_bag | 03-01 07:00 | 03-01 09:30 | 100"),
        },
        model=MODEL,
        expect="modelled_empty_at | dry_therapy_min\n 03-01 09:15:26 | 4.5539",
    )
