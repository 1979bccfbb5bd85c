"""In which months, and from when on, the records of a table are there to be looked in."""

from __future__ import annotations

import pytest
from ward_records import cycles, parts

MARCH = cycles("u1 | 03-10 08:00 | | passed", "u1 | 03-20 08:00 | | passed")


@pytest.mark.parametrize(
    ("as_of", "months"),
    [
        ("03-31 23:59:59", ["2026-03"]),
        ("04-01 00:00", ["2026-03", "2026-04"]),
        ("04-30 23:59:59", ["2026-03", "2026-04"]),
        ("05-01 00:00", ["2026-03"]),
    ],
)
def test_a_month_with_a_row_is_covered_and_so_is_the_month_of_as_of_right_after_one(spec, as_of, months):
    spec(
        given={"disinfections": MARCH},
        as_of=as_of,
        model="occupancy.covered_months",
        expect="table_name | month\n" + "\n".join(f"disinfections | {month}" for month in months),
    )


def test_a_row_later_than_as_of_covers_nothing(spec):
    spec(
        given={
            "disinfections": MARCH,
            "count_readings": "unit_id | read_at | cycle_count\n u1 | 05-02 08:00 | 1",
        },
        as_of="05-02 07:59:59",
        model="occupancy.covered_months",
        expect="table_name | month\n disinfections | 2026-03",
    )


def test_months_are_those_of_the_site_not_of_utc(spec):
    spec(
        given={"disinfections": cycles("u1 | 03-31 23:00 | | passed", "u1 | 04-30 22:59:59 | | passed")},
        rules='time_zone = "Europe/Dublin"',
        model="occupancy.covered_months",
        expect="month\n 2026-04",
    )


def test_months_of_one_day_of_utc_are_both_covered(spec):
    spec(
        given={"disinfections": cycles("u1 | 03-31 22:00 | | passed", "u1 | 03-31 23:00 | | passed")},
        rules='time_zone = "Europe/Dublin"',
        model="occupancy.covered_months",
        expect="month\n 2026-03\n 2026-04",
    )


def test_the_rules_may_declare_months_in_which_nothing_happened(spec):
    spec(
        given={"disinfections": MARCH},
        rules='[coverage]\ndisinfections = ["2026-01", "2026-03"]',
        model="occupancy.covered_months",
        expect="table_name | month\n disinfections | 2026-01\n disinfections | 2026-03",
    )


def test_the_month_of_as_of_is_covered_after_a_declared_month_too(spec):
    spec(
        given={"disinfections": MARCH},
        as_of="05-15 00:00",
        rules='[coverage]\ndisinfections = ["2026-04"]',
        model="occupancy.covered_months",
        expect="month\n 2026-03\n 2026-04\n 2026-05",
    )


def test_coverage_begins_at_the_first_row_and_a_month_without_rows_interrupts_it(spec):
    spec(
        given={"disinfections": MARCH + "\nu1 | 04-02 08:00 | | passed\nu1 | 06-05 08:00 | | passed"},
        model="occupancy.coverage",
        expect="""
            table_name    | part | starts_at   | ends_at
            disinfections | *    | 03-10 08:00 | 05-01 00:00
            disinfections | *    | 06-01 00:00 | 07-01 00:00""",
    )


def test_a_declared_month_is_covered_in_whole_from_its_first_day(spec):
    spec(
        given={"disinfections": MARCH},
        rules='[coverage]\ndisinfections = ["2026-03"]',
        model="occupancy.coverage",
        expect="starts_at | ends_at\n 03-01 00:00 | 04-01 00:00",
    )


def test_a_declared_month_of_part_changes_is_covered_for_each_part_of_the_rules(spec):
    spec(
        given={"disinfections": MARCH},
        rules='[coverage]\npart_changes = ["2026-02"]',
        model="occupancy.coverage",
        expect="""
            table_name    | part      | starts_at   | ends_at
            disinfections | *         | 03-10 08:00 | 04-01 00:00
            part_changes  | *         | 02-01 00:00 | 03-01 00:00
            part_changes  | circuit   | 02-01 00:00 | 03-01 00:00
            part_changes  | interface | 02-01 00:00 | 03-01 00:00
            part_changes  | water_bag | 02-01 00:00 | 03-01 00:00""",
    )


def test_coverage_begins_with_the_first_of_several_declared_months(spec):
    spec(
        given={"disinfections": MARCH},
        rules='[coverage]\ndisinfections = ["2026-02", "2026-03"]',
        model="occupancy.coverage",
        expect="starts_at | ends_at\n 02-01 00:00 | 04-01 00:00",
    )


@pytest.mark.parametrize(
    "first", ["03-31 23:00", "03-31 23:30"], ids=["as the month begins", "later that day"]
)
def test_coverage_begins_at_the_first_of_a_days_rows(spec, first):
    spec(
        given={"disinfections": cycles(f"u1 | {first} | | passed", "u1 | 03-31 23:45 | | passed")},
        rules='time_zone = "Europe/Dublin"',
        model="occupancy.coverage",
        expect=f"starts_at | ends_at\n {first} | 04-30 23:00",
    )


def test_each_part_begins_with_its_own_first_fitting_and_any_part_covers_a_month(spec):
    spec(
        given={
            "part_changes": parts(
                "u1 | | circuit   | 03-10 08:00 |",
                "u2 | | interface | 04-12 09:00 |",
                "u1 | | interface | 05-02 08:00 |",
            )
        },
        model="occupancy.coverage",
        expect="""
            part      | starts_at   | ends_at
            *         | 03-10 08:00 | 06-01 00:00
            circuit   | 03-10 08:00 | 06-01 00:00
            interface | 04-12 09:00 | 06-01 00:00""",
    )


def test_one_sites_rows_cover_nothing_at_another(spec):
    spec(
        given={
            "disinfections": "site_id | unit_id | started_at | outcome\n V | u1 | 03-10 08:00 | passed",
            "count_readings": "unit_id | read_at | cycle_count\n u1 | 03-10 08:00 | 1",
        },
        model="occupancy.covered_months",
        expect="site_id | table_name | month\n T | count_readings | 2026-03\n V | disinfections | 2026-03",
    )


def test_every_table_with_a_time_covers_the_months_of_its_key_times(spec):
    def twice(columns: str, row: str) -> str:
        """The row twice on one day of UTC, in Dublin on the last of March and on the first of April."""
        return "\n".join((columns, row.format("03-31 22:00"), row.format("03-31 23:00")))

    given = {
        "episodes": twice("patient_key | unit_id | ward | started_at", "p1 | u1 | Alder | {}"),
        "part_changes": twice("unit_id | part | fitted_at", "u1 | circuit | {}"),
        "disinfections": twice("unit_id | started_at | outcome", "u1 | {} | failed"),
        "cycle_temperatures": twice("unit_id | measured_at | temperature_c", "u1 | {} | 80"),
        "count_readings": twice("unit_id | read_at | cycle_count", "u1 | {} | 5"),
        "setup_checks": twice("unit_id | checked_at | step | result", "u1 | {} | seal | done"),
        "stock_moves": twice("move_ref | item_id | moved_at | kind | quantity", "m1 | i1 | {} | issue | 1"),
        "unit_status": twice("unit_id | started_at | status", "u1 | {} | loan"),
        "usage_sessions": twice(
            "unit_id | started_at | ended_at | mean_flow_l_min", "u1 | {} | 05-02 08:00 | 30"
        ),
        "usage_samples": twice("unit_id | sampled_at | phase | flow_l_min", "u1 | {} | off | 0"),
        "ward_census": "ward | counted_on | patients\n Alder | 2026-03-31 | 20\n Alder | 2026-04-01 | 20",
    }
    spec(
        given=given,
        rules='time_zone = "Europe/Dublin"',
        model="occupancy.covered_months",
        expect="table_name | month\n"
        + "\n".join(f"{table} | {month}" for table in given for month in ("2026-03", "2026-04")),
    )
