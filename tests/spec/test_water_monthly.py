"""Water hung beside the water that the model says was taken up."""

from __future__ import annotations

import pytest
from ward_records import episodes, sessions

MODEL = "measures.water_monthly"
#: 12 hours at 30 L/min and 37 °C: 954.32 mL by the model.
HALF_A_DAY = sessions("u1 | 03-01 08:00 | 03-01 20:00 | 30 |")
STAY = episodes("p1 | u1 | Alder | 03-01 08:00 | 03-01 20:00")


def bags(*rows: str) -> str:
    return "\n".join(("unit_id | part | fitted_at | removed_at | volume_ml", *rows))


def test_water_hung_and_modelled_stand_side_by_side(spec):
    spec(
        given={
            "episodes": STAY,
            "usage_sessions": HALF_A_DAY,
            "part_changes": bags(
                "u1 | water_bag | 03-01 08:00 | | 1000", "u1 | water_bag | 03-01 18:00 | | 500"
            ),
        },
        model=MODEL,
        expect="\n".join(
            [
                "ward | month | therapy_days | device_days | bags_hung | water_hung_ml | water_hung_ml_per_therapy_day"
                " | water_modelled_ml | water_modelled_ml_per_therapy_day | hung_to_modelled | dry_therapy_min",
                *(
                    f"{ward} | 2026-03 | 0.5 | 1 | 2 | 1500 | 3000 | 954.32 | 1908.6 | 1.5718 | 0"
                    for ward in ("Alder", "*")
                ),
            ]
        ),
    )


def test_days_without_modelled_water_count_neither_in_its_rate_nor_in_the_comparison(spec):
    spec(
        given={
            "episodes": STAY + "\np2 | u1 | Alder | 03-02 08:00 | 03-03 08:00",
            "usage_sessions": HALF_A_DAY,
            "part_changes": bags(
                "u1 | water_bag | 03-01 08:00 | | 1000", "u1 | water_bag | 03-02 08:00 | | 1000"
            ),
        },
        model=MODEL,
        expect="\n".join(
            [
                "ward | therapy_days | device_days | water_hung_ml | water_hung_ml_per_therapy_day"
                " | water_modelled_ml_per_therapy_day | hung_to_modelled",
                *(f"{ward} | 1.5 | 2 | 2000 | 1333.3 | 1908.6 | 1.0479" for ward in ("Alder", "*")),
            ]
        ),
    )


def test_a_bag_is_beside_modelled_water_on_its_own_units_day_only(spec):
    spec(
        given={
            "episodes": STAY + "\np2 | u2 | Alder | 03-01 08:00 | 03-01 20:00",
            "usage_sessions": HALF_A_DAY,
            "part_changes": bags("u2 | water_bag | 03-01 08:00 | | 1000"),
        },
        model=MODEL,
        expect="ward | bags_hung | hung_to_modelled\n Alder | 1 | 0\n * | 1 | 0",
    )


def test_dry_minutes_add_up_and_are_empty_when_no_bag_has_a_value(spec):
    spec(
        given={
            "episodes": STAY
            + "\np2 | u1 | Birch | 03-02 08:00 | 03-02 20:00\np3 | u2 | Alder | 03-01 08:00 | 03-01 20:00",
            "usage_sessions": HALF_A_DAY + "\nu2 | 03-01 08:00 | 03-01 20:00 | 30 |",
            "part_changes": bags(
                "u1 | water_bag | 03-01 08:00 | 03-01 20:00 | 100",
                "u2 | water_bag | 03-01 08:00 | 03-01 20:00 | 100",
                "u1 | water_bag | 03-02 08:00 | | 100",
            ),
        },
        model=MODEL,
        # Each bag lasts 75.446 of 720 minutes.
        expect="ward | bags_hung | dry_therapy_min\n Alder | 2 | 1289.1\n Birch | 1 |\n * | 3 | 1289.1",
    )


def test_without_therapy_there_is_nothing_to_compare(spec):
    spec(
        given={
            "units": "unit_id | ward\n u1 | Alder",
            "episodes": episodes("p1 | u1 | Alder | 03-05 08:00 | 03-05 08:00"),
            "part_changes": bags("u1 | water_bag | 03-01 08:00 | | 100"),
        },
        as_of="03-03 00:00",
        model=MODEL,
        expect="\n".join(
            [
                "ward | therapy_days | device_days | water_hung_ml | water_hung_ml_per_therapy_day"
                " | water_modelled_ml | water_modelled_ml_per_therapy_day | hung_to_modelled",
                "Alder | 0 | 0 | 100 | | | |",
                "* | 0 | 0 | 100 | | | |",
            ]
        ),
    )


TWO_MONTHS = sessions("u1 | 03-01 08:00 | 03-01 20:00 | 30 |", "u1 | 04-01 08:00 | 04-01 20:00 | 30 |")


@pytest.mark.parametrize(
    ("changes", "as_of", "april"),
    [
        (["u1 | water_bag | 03-01 08:00 | 03-01 20:00 | 1000"], "06-01 00:00", "| | | |"),
        (["u1 | water_bag | 03-01 08:00 | 03-01 20:00 | 1000"], "04-20 00:00", "0 | 0 | 0 | 0 |"),
        (
            ["u1 | water_bag | 03-01 08:00 | 03-01 20:00 | 1000", "u9 | circuit | 04-30 23:00 | |"],
            "06-01 00:00",
            "0 | 0 | 0 | 0 |",
        ),
    ],
    ids=["records stopped", "the month of as_of", "another part's row"],
)
def test_the_hung_figures_are_empty_in_a_month_that_is_not_covered_at_its_end(spec, changes, as_of, april):
    spec(
        given={"usage_sessions": TWO_MONTHS, "part_changes": bags(*changes)},
        as_of=as_of,
        model=MODEL,
        expect=f"""
            ward|month | bags_hung | water_hung_ml | water_hung_ml_per_therapy_day | hung_to_modelled | dry_therapy_min
                 | 2026-03 | 1 | 1000 | 2000 | 1.0479 | 0
            *    | 2026-03 | 1 | 1000 | 2000 | 1.0479 | 0
                 | 2026-04 | {april}
            *    | 2026-04 | {april}""",
    )


def test_a_month_before_the_first_bag_is_not_covered_though_other_parts_are(spec):
    spec(
        given={
            "usage_sessions": sessions("u1 | 03-01 08:00 | 03-01 20:00 | 30 |"),
            "part_changes": bags("u9 | circuit | 03-01 08:00 | |", "u9 | water_bag | 04-01 00:00 | |"),
        },
        as_of="04-02 00:00",
        model=MODEL,
        expect="""
            ward | month   | water_modelled_ml | bags_hung | water_hung_ml
                 | 2026-03 | 954.32            |           |
            *    | 2026-03 | 954.32            |           |
                 | 2026-04 |                   | 1         | 2000
            *    | 2026-04 |                   | 1         | 2000""",
    )


def test_device_days_of_the_site_count_a_patient_of_two_wards_once(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 20:00", "p1 | u2 | Birch | 03-01 08:00 | 03-01 20:00"
            )
        },
        model=MODEL,
        expect="ward | device_days\n Alder | 1\n Birch | 1\n * | 1",
    )


def test_days_are_the_sites_local_days_and_bags_fall_in_the_month_in_which_they_were_hung(spec):
    spec(
        given={
            "usage_sessions": sessions("u1 | 03-31 11:00 | 04-01 11:00 | 30 |"),
            "part_changes": bags(
                "u1 | water_bag | 03-31 11:00 | | 1000", "u1 | water_bag | 03-31 23:00 | | 500"
            ),
        },
        rules='time_zone = "Europe/Dublin"',
        model=MODEL,
        expect="""
            ward | month   | therapy_days | bags_hung | water_hung_ml
                 | 2026-03 | 0.5          | 1         | 1000
            *    | 2026-03 | 0.5          | 1         | 1000
                 | 2026-04 | 0.5          | 1         | 500
            *    | 2026-04 | 0.5          | 1         | 500""",
    )


def test_a_bag_is_counted_once_on_a_day_of_two_patients(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-01 12:00", "p2 | u1 | Alder | 03-01 13:00 | 03-01 20:00"
            ),
            "usage_sessions": HALF_A_DAY,
            "part_changes": bags("u1 | water_bag | 03-01 08:00 | | 1000"),
        },
        model=MODEL,
        expect="ward | bags_hung | water_hung_ml\n Alder | 1 | 1000\n * | 1 | 1000\n | 0 | 0",
    )


def test_water_and_its_therapy_days_add_up_over_days(spec):
    spec(
        given={
            "usage_sessions": HALF_A_DAY + "\nu1 | 03-04 08:00 | 03-04 14:00 | 30 |",
            "part_changes": bags("u9 | circuit | 03-01 08:00 | |"),
        },
        model=MODEL,
        expect="""
            ward | therapy_days | water_modelled_ml | water_modelled_ml_per_therapy_day
                 | 0.75         | 1431.5            | 1908.6
            *    | 0.75         | 1431.5            | 1908.6""",
    )
