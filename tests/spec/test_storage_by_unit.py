"""Whether the records say that a disinfected unit was stored protected and tagged, by place and unit."""

from __future__ import annotations

MODEL = "facts.storage_by_unit"
CYCLES = "unit_id | started_at | ended_at | outcome | storage_protected | status_tagged"


def test_each_passed_cycle_says_yes_no_or_nothing(spec):
    spec(
        given={
            "units": "unit_id | ward\n u1 | Alder",
            "disinfections": f"""{CYCLES}
                u1 | 03-02 08:00 | 03-02 09:00 | passed | true  | true
                u1 | 03-03 08:00 | 03-03 09:00 | passed | false | true
                u1 | 03-04 08:00 | 03-04 09:00 | passed |       | false
                u1 | 03-05 08:00 | 03-05 09:00 | failed | true  | true""",
        },
        model=MODEL,
        expect="""
            place | month   | cycles | protected | not_protected | protection_unknown
            Alder | 2026-03 | 3      | 1         | 1             | 1""",
    )
    spec(
        given={
            "disinfections": f"{CYCLES}\n u1 | 03-02 08:00 | | passed | true |\n u1 | 03-03 08:00 | | passed | | false"
        },
        model=MODEL,
        expect="cycles | tagged | not_tagged | tag_unknown\n 2 | 0 | 1 | 1",
    )


def test_the_place_is_the_units_own_and_empty_where_no_list_names_it(spec):
    spec(
        given={
            "units": "unit_id | ward\n u1 | Alder\n u2 |",
            "disinfections": f"""{CYCLES}
                u1 | 03-31 22:30 | 03-31 23:00 | passed | true | true
                u2 | 03-02 08:00 | 03-02 09:00 | passed | true | true
                u3 | 03-02 08:00 | 03-02 09:00 | passed | true | true""",
        },
        rules='time_zone = "Europe/Berlin"',
        model=MODEL,
        expect="place | unit_id | month\n Alder | u1 | 2026-04\n | u2 | 2026-03\n | u3 | 2026-03",
    )
