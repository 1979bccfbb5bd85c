"""Parts that the rules required, that were fitted, and that left the stores."""

from __future__ import annotations

from ward_records import episodes, parts

MODEL = "measures.part_use_monthly"
ITEMS = """
    item_id | part      | pack_size | unit_price | lead_time_days
    i1      | circuit   | 10        | 90         | 5
    i2      | circuit   | 20        | 170        | 5
    i3      | water_bag | 10        | 30         | 5"""


def moves(*rows: str) -> str:
    return "\n".join(
        (
            "move_ref | item_id | moved_at | kind | quantity | location",
            *(f"m{number} | {row}" for number, row in enumerate(rows)),
        )
    )


def test_each_part_has_its_stays_therapy_fittings_and_need(spec):
    spec(
        given={
            "episodes": episodes(
                "p1 | u1 | Alder | 03-01 08:00 | 03-10 08:00", "p2 | u2 | Birch | 03-01 08:00 | 03-02 08:00"
            ),
            "part_changes": parts(
                "u1 | | circuit | 03-01 08:00 |",
                "u1 | | circuit | 03-08 08:00 |",
                "u2 | | water_bag | 03-01 08:00 |",
            ),
        },
        rules="[parts.filter]\nper_patient = false",
        model=MODEL,
        expect="""
            ward  | month   | part      | stays_started | therapy_days | fitted | needed | issued | issued_to_fitted
            Alder | 2026-03 | circuit   | 1             | 9            | 2      | 2      |        |
            Alder | 2026-03 | filter    | 1             | 9            | 0      |        |        |
            Alder | 2026-03 | interface | 1             | 9            | 0      | 2      |        |
            Alder | 2026-03 | water_bag | 1             | 9            | 0      | 2      |        |
            Birch | 2026-03 | circuit   | 1             | 1            | 0      | 1      |        |
            Birch | 2026-03 | filter    | 1             | 1            | 0      |        |        |
            Birch | 2026-03 | interface | 1             | 1            | 0      | 1      |        |
            Birch | 2026-03 | water_bag | 1             | 1            | 1      | 1      |        |
            *     | 2026-03 | circuit   | 2             | 10           | 2      | 3      |        |
            *     | 2026-03 | filter    | 2             | 10           | 0      |        |        |
            *     | 2026-03 | interface | 2             | 10           | 0      | 3      |        |
            *     | 2026-03 | water_bag | 2             | 10           | 1      | 3      |        |""",
    )


def test_issued_are_the_pieces_that_left_the_stores_for_a_ward(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-01 08:00 | 03-01 20:00"),
            "items": ITEMS,
            "part_changes": parts(
                "u1 | | circuit | 03-01 08:00 | 03-01 12:00", "u1 | | circuit | 03-01 12:00 | 03-01 20:00"
            ),
            "stock_moves": moves(
                "i1 | 03-02 08:00 | issue   | 3  | Alder",
                "i2 | 03-03 08:00 | issue   | 2  | Alder",
                "i1 | 03-04 08:00 | receipt | 50 | Alder",
                "i1 | 03-04 08:00 | return  | 1  | Alder",
                "i3 | 03-05 08:00 | issue   | 4  |",
            ),
        },
        model=MODEL,
        expect="""
            ward  | part      | fitted | issued | issued_to_fitted
            Alder | circuit   | 2      | 5      | 2.5
            Alder | interface | 0      |        |
            Alder | water_bag | 0      |        |
                  | water_bag | 0      | 4      |
            *     | circuit   | 2      | 5      | 2.5
            *     | interface | 0      |        |
            *     | water_bag | 0      | 4      |""",
    )


def test_each_number_falls_in_the_sites_month_of_its_own_instant(spec):
    spec(
        given={
            "episodes": episodes("p1 | u1 | Alder | 03-31 22:00 | 04-01 23:00"),
            "items": ITEMS,
            "part_changes": parts("u1 | | circuit | 03-31 22:30 |", "u1 | | circuit | 03-31 23:00 |"),
            "stock_moves": moves(
                "i1 | 03-31 22:59:59 | issue | 3 | Alder", "i1 | 03-31 23:00 | issue | 4 | Alder"
            ),
        },
        rules='time_zone = "Europe/Dublin"\n[parts.interface]\nmax_days = 30\n[parts.water_bag]\nmax_days = 30',
        model=MODEL,
        expect="""
            ward  | month   | part      | stays_started | therapy_days | fitted | needed | issued
            Alder | 2026-03 | circuit   | 1             | 0.041667     | 1      | 1      | 3
            Alder | 2026-03 | interface | 1             | 0.041667     | 0      | 1      |
            Alder | 2026-03 | water_bag | 1             | 0.041667     | 0      | 1      |
            *     | 2026-03 | circuit   | 1             | 0.041667     | 1      | 1      | 3
            *     | 2026-03 | interface | 1             | 0.041667     | 0      | 1      |
            *     | 2026-03 | water_bag | 1             | 0.041667     | 0      | 1      |
            Alder | 2026-04 | circuit   | 0             | 1            | 1      |        | 4
            Alder | 2026-04 | interface | 0             | 1            | 0      |        |
            Alder | 2026-04 | water_bag | 0             | 1            | 0      |        |
            *     | 2026-04 | circuit   | 0             | 1            | 1      |        | 4
            *     | 2026-04 | interface | 0             | 1            | 0      |        |
            *     | 2026-04 | water_bag | 0             | 1            | 0      |        |""",
    )


def test_a_stay_that_starts_as_the_month_begins_belongs_to_that_month_alone(spec):
    spec(
        given={"episodes": episodes("p1 | u1 | Alder | 04-01 00:00 | 04-02 00:00")},
        model=MODEL,
        expect="ward | month | part | stays_started | needed\n"
        + "\n".join(
            f"{ward} | 2026-04 | {part} | 1 | 1"
            for ward in ("Alder", "*")
            for part in ("circuit", "interface", "water_bag")
        ),
    )
