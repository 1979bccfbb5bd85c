"""Which disinfection cycles are proof, and the heat that their temperatures add up to."""

from __future__ import annotations

import pytest
from ward_records import cycles

MODEL = "facts.disinfection_cycles"
CYCLE = cycles("u1 | 03-01 08:00 | 03-01 08:10 | passed")
MOIST = 'disinfection_heat = "moist"\n'
HOLD = "hold_c = 80\nhold_min = 5\n"


def temperatures(*rows: str) -> str:
    return "unit_id | measured_at | temperature_c\n" + "\n".join(f"u1 | 03-01 {row}" for row in rows)


def every_minute(degrees: float, first: int, last: int) -> list[str]:
    return [f"08:{minute:02} | {degrees}" for minute in range(first, last + 1)]


def test_a_cycle_is_valid_that_passed_and_has_an_end(spec):
    spec(
        given={
            "disinfections": cycles(
                "u1 | 03-01 08:00 | 03-01 09:30 | passed",
                "u2 | 03-01 08:00 | | passed",
                "u3 | 03-01 08:00 | 03-01 09:00 | failed",
                "u4 | 03-01 08:00 | | interrupted",
            )
        },
        model=MODEL,
        expect="""
            unit_id | valid | invalid_reason | duration_min | a0_s | hold_min
            u1      | true  |                | 90           |      |
            u2      | false | no_end         |              |      |
            u3      | false | failed         | 60           |      |
            u4      | false | interrupted    |              |      |""",
    )


def test_a_cycle_shorter_than_the_site_asks_for_is_no_proof(spec):
    spec(
        given={
            "disinfections": cycles(
                "u1 | 03-01 08:00 | 03-01 08:29:59 | passed",
                "u2 | 03-01 08:00 | 03-01 08:30 | passed",
                "u3 | 03-01 08:00 | 03-01 08:10 | failed",
            )
        },
        rules="min_cycle_min = 30",
        model=MODEL,
        expect="unit_id | invalid_reason\n u1 | short\n u2 |\n u3 | failed",
    )


def test_an_end_later_than_as_of_is_not_known_yet(spec):
    spec(
        given={"disinfections": cycles("u1 | 03-01 08:00 | 03-01 09:00 | passed")},
        as_of="03-01 08:59:59",
        model=MODEL,
        expect="ended_at | invalid_reason\n | no_end",
    )


@pytest.mark.parametrize(
    ("readings", "a0_s"),
    [
        (["08:00 | 80", "08:01 | 80"], "120"),
        (["08:00 | 90", "08:00:10 | 60", "08:01 | 60"], "100"),
        (["08:00 | 64.99", "08:01 | 65"], "1.8974"),
        (["08:00 | 80", "08:05 | 20"], "60"),
        (["08:09:30 | 80"], "30"),
        (["08:10 | 80"], "0"),
        (["07:59:59 | 80", "08:10:01 | 80"], ""),
    ],
    ids=[
        "one second at 80 °C is one",
        "ten degrees more count tenfold",
        "from 65 °C on",
        "a reading stands for a minute at most",
        "the last one stands to the end",
        "a reading at the very end",
        "outside the cycle",
    ],
)
def test_a0_adds_up_lethal_heat_over_the_time_to_the_next_reading(spec, readings, a0_s):
    # 10^((T - 80)/10) for each second, z = 10 K: ISO 15883-1.
    spec(
        given={"disinfections": CYCLE, "cycle_temperatures": temperatures(*readings)},
        model=MODEL,
        expect=f"a0_s | hold_min | valid\n {a0_s} | | true",
    )


@pytest.mark.parametrize(("wanted", "reason"), [("300", ""), ("300.1", "low_a0")])
def test_a_cycle_of_lower_a0_than_asked_for_is_no_proof(spec, wanted, reason):
    spec(
        given={
            "disinfections": CYCLE,
            "cycle_temperatures": temperatures(*every_minute(80, 1, 5), "08:06 | 20"),
        },
        rules=f"{MOIST}min_a0_s = {wanted}",
        model=MODEL,
        expect=f"a0_s | invalid_reason\n 300 | {reason}",
    )


@pytest.mark.parametrize(
    ("degrees", "last", "cool", "hold_min", "reason"),
    [
        (80, 5, "08:06", "5", ""),
        (80, 5, "08:05:59", "4.9833", "short_hold"),
        (79.99, 5, "08:06", "0", "short_hold"),
    ],
    ids=["just long enough", "one second short", "just too cool"],
)
def test_the_hold_adds_up_the_time_at_or_above_its_temperature(spec, degrees, last, cool, hold_min, reason):
    spec(
        given={
            "disinfections": CYCLE,
            "cycle_temperatures": temperatures(*every_minute(degrees, 1, last), f"{cool} | 20"),
        },
        rules=HOLD,
        model=MODEL,
        expect=f"hold_min | invalid_reason\n {hold_min} | {reason}",
    )


@pytest.mark.parametrize("rules", [HOLD, f"{MOIST}min_a0_s = 60"])
def test_heat_that_is_asked_for_needs_temperatures_within_the_cycle(spec, rules):
    spec(
        given={"disinfections": CYCLE, "cycle_temperatures": temperatures("07:59:59 | 90")},
        rules=rules,
        model=MODEL,
        expect="a0_s | hold_min | invalid_reason\n | | no_temperatures",
    )


@pytest.mark.parametrize(
    ("cycle", "readings", "reason"),
    [
        ("03-01 08:10 | passed", ["07:00 | 20"], "short"),
        ("03-01 08:20 | passed", ["07:00 | 20"], "no_temperatures"),
        ("03-01 08:20 | passed", ["08:00 | 20"], "low_a0"),
        ("03-01 08:20 | passed", ["08:00 | 90"], "short_hold"),
        ("03-01 08:10 | interrupted", ["08:00 | 20"], "interrupted"),
        ("| passed", ["08:00 | 90"], "no_end"),
    ],
)
def test_the_first_reason_that_applies_is_named(spec, cycle, readings, reason):
    spec(
        given={
            "disinfections": cycles(f"u1 | 03-01 08:00 | {cycle}"),
            "cycle_temperatures": temperatures(*readings),
        },
        rules=f"{MOIST}min_cycle_min = 15\nmin_a0_s = 60\n{HOLD}",
        model=MODEL,
        expect=f"valid | invalid_reason\n false | {reason}",
    )


def test_another_units_temperatures_are_not_this_cycles(spec):
    spec(
        given={
            "disinfections": CYCLE,
            "cycle_temperatures": "unit_id | measured_at | temperature_c\n u2 | 03-01 08:01 | 90",
        },
        model=MODEL,
        expect="unit_id | a0_s\n u1 |",
    )
