"""After how long of silence a table, a unit or a ward is quiet, against its usual rhythm."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from ward_records import episodes, samples

from pipeline.freshness import quiet_sources

MODEL = "facts.source_rhythms"


def on_days(row: str, *days: int) -> list[str]:
    """One row for each day of March, counted from the first."""
    return [row.format(f"{datetime(2026, 3, 1) + timedelta(days=day - 1):%m-%d}") for day in days]


EPISODE = "p1 | u1 | Alder | {} 08:00 |"
SAMPLE = "u1 | {} 08:00 | in_use | 40 | 37 |"
PART = "u1 | | circuit | {} 08:00 |"
PARTS = "unit_id | patient_key | part | fitted_at | removed_at"


def parts_on(*days: int) -> dict[str, str]:
    return {"part_changes": "\n".join([PARTS, *on_days(PART, *days)])}


@pytest.mark.parametrize(
    ("days", "usual", "quiet_after"),
    [
        ((1, 2, 3), 24, 72),
        ((1, 3, 5, 7), 48, 144),
        ((1, 2, 3, 4, 5, 6, 7, 14), 24, 168),
        ((*range(1, 22), 28), 24, 72),
    ],
    ids=["daily", "every other day", "its own long gap", "one long gap in 21"],
)
def test_a_source_is_quiet_after_three_median_gaps_or_its_long_one(spec, days, usual, quiet_after):
    spec(
        given=parts_on(*days),
        as_of="04-30 00:00",
        model=MODEL,
        expect=f"days | usual_gap_h | quiet_after_h\n {len(days)} | {usual} | {quiet_after}",
    )


def test_fewer_than_three_days_make_no_rhythm(spec):
    spec(
        given=parts_on(1, 2),
        as_of="04-30 00:00",
        model=MODEL,
        expect="days | usual_gap_h | quiet_after_h\n 2 | 24 |",
    )


def test_several_rows_of_a_day_are_one_day(spec):
    rows = [PARTS, *on_days(PART, 1, 2, 3), *on_days("u2 | | circuit | {} 20:00 |", 1, 2, 3)]
    spec(
        given={"part_changes": "\n".join(rows)},
        as_of="04-30 00:00",
        model=MODEL,
        expect="days | last_at\n 3 | 03-03 20:00",
    )


def test_only_the_ninety_days_up_to_the_last_row_tell_the_rhythm(spec):
    rows = [PARTS, "u1 | | circuit | 01-01 08:00 |", "u1 | | circuit | 04-01 08:00 |"]
    rows += ["u1 | | circuit | 04-02 08:00 |", "u1 | | circuit | 04-03 08:00 |"]
    spec(
        given={"part_changes": "\n".join(rows)},
        as_of="04-30 00:00",
        model=MODEL,
        expect="days | usual_gap_h\n 3 | 24",
    )


def test_wards_and_units_have_a_rhythm_of_their_own(spec):
    spec(
        given={
            "episodes": episodes(*on_days(EPISODE, 1, 3, 5)),
            "usage_samples": samples(*on_days(SAMPLE, 1, 2, 3)),
        },
        as_of="04-30 00:00",
        model=MODEL,
        expect="""
            table_name    | unit_id | ward  | usual_gap_h
            episodes      |         |       | 48
            episodes      |         | Alder | 48
            usage_samples |         |       | 24
            usage_samples | u1      |       | 24""",
    )


@pytest.mark.parametrize(
    ("status", "listed"),
    [
        ("03-04 08:00 | ", ""),
        ("03-04 08:00 | 03-20 08:00", "\n u1 | 03-20 08:00"),
        ("02-20 08:00 | 02-25 08:00", "\n u1 | 03-03 08:00"),
    ],
    ids=["away", "back since", "back before"],
)
def test_a_unit_out_of_the_pool_has_a_reason_and_its_silence_counts_from_its_return(computed, status, listed):
    connection = computed(
        given={
            "usage_samples": samples(*on_days(SAMPLE, 1, 2, 3)),
            "unit_status": f"unit_id | started_at | ended_at | status\n u1 | {status} | repair",
        },
        as_of="03-25 00:00",
        tables=(MODEL,),
    )
    found = connection.execute(
        f"select unit_id, strftime(silent_from, '%m-%d %H:%M') from {MODEL} where unit_id is not null"
    ).fetchall()
    assert "".join(f"\n {unit} | {silent}" for unit, silent in found) == listed


@pytest.mark.parametrize(
    ("as_of", "quiet"),
    [("2026-03-06 08:00:00", []), ("2026-03-06 08:00:01", ["part_changes"])],
    ids=["72 h", "72 h and a second"],
)
def test_a_source_is_quiet_once_its_silence_is_longer(computed, as_of, quiet):
    connection = computed(parts_on(1, 2, 3), "03-06 12:00", tables=(MODEL,))
    found = quiet_sources(connection, datetime.fromisoformat(as_of))
    assert [source.table for source in found] == quiet


def test_a_table_that_is_quiet_as_a_whole_speaks_for_its_units(computed):
    rows = [*on_days(SAMPLE, 1, 2, 3), *on_days(SAMPLE.replace("u1", "u2"), 1, 2, 3, 4, 5, 6, 7, 8)]
    connection = computed({"usage_samples": samples(*rows)}, "03-30 00:00", tables=(MODEL,))
    one = quiet_sources(connection, datetime(2026, 3, 9))
    assert [(source.table, source.unit_id) for source in one] == [("usage_samples", "u1")]
    assert one[0].words == (
        "T: no rows of usage_samples from unit u1 since 2026-03-03 08:00 UTC, 136 h; usually every 24 h."
    )
    assert [source.unit_id for source in quiet_sources(connection, datetime(2026, 3, 29))] == [None]
