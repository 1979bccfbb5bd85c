"""Therapy days for each thousand patient-days of the ward census."""

from __future__ import annotations

from ward_records import episodes

MODEL = "measures.rate_monthly"


def census(*rows: str) -> str:
    return "\n".join(("ward | counted_on | patients", *rows))


def test_the_rate_is_therapy_days_over_patient_days_in_thousands(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-03 08:00", "p2 | u2 | Birch | 03-01 08:00 | 03-02 08:00"
            ),
            "ward_census": census(
                "Alder | 2026-03-01 | 20", "Alder | 2026-03-02 | 30", "Birch | 2026-03-01 | 10"
            ),
        },
        model=MODEL,
        expect="""
            ward  | month   | therapy_days | patient_days | therapy_days_per_1000_patient_days
            Alder | 2026-03 | 2            | 50           | 40
            Birch | 2026-03 | 1            | 10           | 100
            *     | 2026-03 | 3            | 60           | 50""",
    )


def test_a_ward_with_a_census_and_no_therapy_has_a_rate_of_zero_and_an_empty_ward_none(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00"),
            "ward_census": census("Birch | 2026-04-01 | 10", "Cedar | 2026-05-01 | 0"),
        },
        model=MODEL,
        expect="""
            ward  | month   | therapy_days | patient_days | therapy_days_per_1000_patient_days
            Birch | 2026-04 | 0            | 10           | 0
            *     | 2026-04 | 0            | 10           | 0
            Cedar | 2026-05 | 0            | 0            |
            *     | 2026-05 | 0            | 0            |""",
    )


def test_days_and_hours_fall_in_the_sites_own_month(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-31 11:00 | 04-02 11:00"),
            "ward_census": census("Alder | 2026-03-31 | 10", "Alder | 2026-04-01 | 10"),
        },
        rules='time_zone = "Europe/Dublin"',
        model=MODEL,
        expect="""
            ward  | month   | therapy_days | patient_days
            Alder | 2026-03 | 0.5          | 10
            *     | 2026-03 | 0.5          | 10
            Alder | 2026-04 | 1.5          | 10
            *     | 2026-04 | 1.5          | 10""",
    )


def test_a_census_day_that_has_not_begun_by_as_of_is_left_out(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-02 08:00"),
            "ward_census": census("Alder | 2026-03-01 | 10", "Alder | 2026-03-02 | 10"),
        },
        as_of="03-01 23:59:59",
        model=MODEL,
        expect="ward | patient_days\n Alder | 10\n * | 10",
    )
