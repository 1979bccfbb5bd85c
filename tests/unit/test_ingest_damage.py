"""What a spreadsheet leaves behind is told, and what only looks like it is not."""

import polars as pl
import pytest
from ingest_rows import new_folder, read, read_text
from workbooks import workbook

from pipeline.ingest.damage import find_damage, merged, row_limit_reached
from pipeline.ingest.headers import Header
from pipeline.records import TABLES

CHANGES = TABLES["part_changes"]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    return new_folder(tmp_path, monkeypatch)


def damage(said, column="lot", table="part_changes"):
    rows = pl.DataFrame({column: [said, "L1"], "source_row": [2, 3]})
    header = Header(1, {column: 0}, (), names={column: "Their name"})
    return [(one.kind, one.rows, one.first_row) for one in find_damage(rows, header, TABLES[table])]


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("1.23E+15", "scientific"),
        ("1E+15", "scientific"),
        ("1,23E+15", "scientific"),
        ("9.5e-07", "scientific"),
        ("1-Mar", "date_like"),
        ("01-Mar-26", "date_like"),
        ("Mar-26", "date_like"),
        ("5. Okt", "date_like"),
        ("12 Sept 2026", "date_like"),
        ("3/4/2026", "date_like"),
        ("2026-03-01 00:00:00", "date_like"),
        ("01.03.2026", "date_like"),
        ("1. März", "date_like"),
        ("1-août", "date_like"),
        ("01-dic-26", "date_like"),
        ("712.0", "fraction"),
        ("00712.00", "fraction"),
        ("712,00", "fraction"),
        ("12,345", "thousands"),
        ("1'234'567", "thousands"),
        ("########", "too_narrow"),
        ("1234567890123450112", "fifteen_digits"),
        ("K1\u200b", "unseen"),
        ("K\n1", "unseen"),
        ("Ger\ufffdt", "lost_letters"),
        ("1234567890123450", "fifteen_digits"),
        ("98765432109876500000", "fifteen_digits"),
        ("#REF!", "error"),
        ("#DIV/0!", "error"),
        (" #N/A ", "error"),
        ("#NAME?", "error"),
        ("#VALUE!", "error"),
    ],
)
def test_damaged_identifiers(said, kind):
    assert damage(said) == [(kind, 1, 2)]


@pytest.mark.parametrize(
    "said",
    [
        "00712",
        "1E5",
        "MAR1",
        "1-2",
        "2026-03",
        "12.5",
        "123456789012345",
        "1234567890123456",
        "1234567890123456789",
        "12,34",
        "#",
        "März",
        "#7",
        "MARCH",
        "",
        None,
    ],
)
def test_identifiers_that_only_look_damaged(said):
    assert damage(said) == []


def test_numbers_and_times_are_no_identifiers_but_may_be_failed_formulas():
    assert damage("1.5E+3", column="volume_ml") == damage("2026-03-01 00:00:00", column="fitted_at") == []
    assert damage("#DIV/0!", column="volume_ml") == [("error", 1, 2)]


def test_of_a_large_log_only_the_units_are_looked_at():
    assert damage("1-Mar", column="unit_id", table="usage_samples") == [("date_like", 1, 2)]
    assert damage("#REF!", column="flow_l_min", table="usage_samples") == []


def test_what_blocks_show_is_counted_together():
    header = Header(1, {"lot": 0}, (), names={"lot": "Lot"})
    blocks = [pl.DataFrame({"lot": ["1-Mar"], "source_row": [row]}) for row in (7, 9)]
    (found,) = merged(one for rows in blocks for one in find_damage(rows, header, CHANGES))
    assert (found.rows, found.first_row, found.column) == (2, 7, "Lot")
    assert found.sentence.startswith("column 'Lot' holds a date where an identifier was typed (2 rows, ")


@pytest.mark.parametrize("last", [65_535, 65_536, 65_537, 1_048_575, 1_048_576, 1_048_577])
def test_a_file_that_ends_where_a_spreadsheet_does(last):
    assert (row_limit_reached(last) is not None) == (last in (65_536, 1_048_576))


def test_the_row_limit_counts_the_header_too(folder):
    lines = "".join(f"{number}\n" for number in range(65_535))
    assert "65,536" in read_text(folder, "units.csv", "unit_id\n" + lines).notes[0]
    assert read_text(folder, "units_2.csv", "unit_id\n" + lines + "x\n").notes == ()


READINGS = (
    "unit_id,read_at,cycle_count\n{},2026-03-02T08:00Z,7\n712,2026-03-03T08:00Z,7\n9,2026-03-02T08:00Z,7\n"
)


def test_units_that_lost_the_zeros_which_the_list_has(folder):
    (folder / "units.csv").write_text("unit_id\n00712\n9\nA1\n")
    (folder / "count_readings.csv").write_text(READINGS.format("712"))
    notes = read(folder).files[1].notes
    assert notes[0].startswith("2 rows name one of 1 units without the leading zeros")
    (folder / "count_readings.csv").write_text(READINGS.format("009"))
    assert read(folder).files[1].notes[0].startswith("2 rows name one of 2 units")
    (folder / "count_readings.csv").write_text(
        READINGS.format("00712").replace("712,2026-03-03", "713,2026-03-03")
    )
    assert read(folder).files[1].notes == ()


def test_a_workbook_that_counts_from_1904_is_told(folder):
    profile = folder.parent / "profile.toml"
    profile.write_text('name = "u"\ntable = "units"\nfiles = ["u*"]\nformat = "xlsx"\nsheet = "S"\n')
    content = workbook(("S", [["unit_id"], ["1"]]), date_1904=True)
    assert "1904" in read_text(folder, "u.xlsx", content, profile_path=profile).notes[0]
