"""From bytes to text rows: nothing guessed, no field lost, every line with its number."""

import csv
import io
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import RefusedFile
from pipeline.ingest import read_files
from pipeline.ingest.profiles import Profile, load_profile
from pipeline.ingest.read_files import open_export, read_blocks, read_content
from pipeline.records import TABLES

UNITS = "unit_id,ward\n"


def blocks(text, table="units", profile=None):
    content = text.encode() if isinstance(text, str) else text
    return list(
        read_blocks(open_export("x.csv", "00", content, TABLES[table], profile or load_profile(None)))
    )


def rows(text, **stated):
    """Unit, ward and line of every row that could be told apart."""
    found = blocks(text, **stated)
    return [row for block in found for row in block.rows.select("unit_id", "ward", "source_row").rows()]


def torn(text):
    return [row for block in blocks(text) for row in block.ragged.rows()]


def skipped(text):
    return sum(block.skipped for block in blocks(text))


def refusal(text, table="units"):
    with pytest.raises(RefusedFile) as error:
        blocks(text, table)
    return str(error.value)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("last", [True, False])
def test_any_line_end_and_none_at_the_end(end, last):
    text = end.join(["unit_id,ward", "001,Alder", "002,Birch"]) + (end if last else "")
    assert rows(text) == [("001", "Alder", 2), ("002", "Birch", 3)]


def test_a_byte_order_mark_is_no_part_of_the_header():
    assert rows(b"\xef\xbb\xbf" + UNITS.encode() + b"001,Alder\n") == [("001", "Alder", 2)]


def test_text_stays_as_it_is():
    kept = ["000123", "1E5", "MAR1", "12345678901234567890", " x ", "Zoë", "NULL", "-"]
    assert [row[0] for row in rows(UNITS + "".join(f"{said},A\n" for said in kept))] == kept


def test_columns_stand_in_any_order_and_case_and_others_are_left_out():
    export = open_export(
        "x.csv", "00", b" WARD ,patient_name,Unit_ID\nAlder,P. Doe,001\n", TABLES["units"], load_profile(None)
    )
    assert export.header.undeclared == ("patient_name",)
    assert [block.rows.columns for block in read_blocks(export)] == [["unit_id", "ward", "source_row"]]


@pytest.mark.parametrize("quote", ["", '"'])
def test_lines_with_too_few_or_too_many_fields_are_told_apart_by_line(quote):
    text = UNITS + f"{quote}001{quote},Alder\n002\n003,Birch,x\n004,Cedar\n"
    assert rows(text) == [("001", "Alder", 2), ("004", "Cedar", 5)]
    assert torn(text) == [(3, 1), (4, 3)]


def test_a_short_and_a_long_line_do_not_make_up_for_each_other():
    head = "unit_id,ward,in_service_on\n"
    assert torn(head + "001,Alder\n002,Alder,,x\n") == [(2, 2), (3, 4)]
    assert torn(head + "002,Alder,,x\n001,Alder\n") == [(2, 4), (3, 2)]


@pytest.mark.parametrize("quote", ["", '"'])
@pytest.mark.parametrize("blank", ["", "  ", ","])
def test_blank_lines_are_skipped_and_counted(quote, blank):
    text = UNITS + f"{blank}\n{quote}001{quote},Alder\n{blank}\n002,Birch\n{blank}\n"
    assert rows(text) == [("001", "Alder", 3), ("002", "Birch", 5)]
    assert skipped(text) == 3


def test_a_blank_last_line_without_a_line_end_is_skipped():
    assert skipped(UNITS + "001,Alder\n,") == 1


def test_quoted_fields_hold_delimiters_quotes_and_line_ends():
    text = UNITS + '001,"Alder, north"\n"002","the ""old""\nwing"\n003,Birch\n'
    assert rows(text) == [("001", "Alder, north", 2), ("002", 'the "old"\nwing', 3), ("003", "Birch", 5)]


def test_a_quote_inside_an_unquoted_field_is_text():
    assert rows(UNITS + '001,12" bay\n') == [("001", '12" bay', 2)]


def test_blocks_go_on_where_the_last_one_ended(monkeypatch):
    monkeypatch.setattr(read_files, "BLOCK_BYTES", 20)
    monkeypatch.setattr(read_files, "BLOCK_RECORDS", 2)
    lines = [f"{number:03d},Alder" for number in range(50)]
    lines[20] = "broken"
    for text in ("\n".join(lines), "\n".join(lines).replace("000", '"000"')):
        assert len(blocks(UNITS + text)) > 5
        assert [row[2] for row in rows(UNITS + text)] == [line for line in range(2, 52) if line != 22]
        assert torn(UNITS + text) == [(22, 1)]
        assert sum(block.read for block in blocks(UNITS + text)) == 50


def test_a_header_alone_is_an_export_without_rows():
    assert rows(UNITS) == rows("unit_id,ward") == []


def test_a_profile_may_name_another_delimiter_and_other_columns():
    profile = Profile("other", ("*.txt",), "units", ";", {"unit_id": "Device"})
    assert rows("Device;ward\n1;Alder, north\n", profile=profile) == [("1", "Alder, north", 2)]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"unit_id,ward\n001,\xe9\n", "row 2 is not UTF-8"),
        (b"unit_id,ward\n001,a\n002,\0\n", "row 3 holds a NUL byte"),
        ("unit_id,ward\n".encode("utf-16"), "UTF-16"),
        (b"PK\x03\x04rest", "workbook"),
        (b"a,b\n1,2\n", "row 1 is no header of units"),
        (b"\nunit_id,ward\n", "row 1 is no header of units"),
        (b"unit_id,Unit_ID,ward\n", "row 1 names a column twice: unit_id"),
        (b'"unit_id,ward\n', "row 1: the header's quotes"),
        (b'unit_id,ward\n001,"a\n002,b\n', "row 2: a quote is opened and never closed"),
        (b'unit_id,ward\n001,a\n002,"a"b\n', "row 3: "),
    ],
)
def test_a_file_that_is_not_its_table_is_refused_with_the_place(content, words):
    assert words in refusal(content)


def test_missing_columns_are_named_with_what_was_found_and_probably_meant():
    told = refusal("unti_id,sampled_at,flow,phase\n", "usage_samples")
    assert told.startswith("missing column(s) unit_id, flow_l_min; found unti_id, sampled_at, flow, phase.")
    assert "Did you mean 'unti_id'?" in told


def test_part_changes_need_one_of_two_columns():
    assert "unit_id or patient_ref" in refusal("part,fitted_at\n", "part_changes")


def test_an_empty_file_and_an_unreadable_one_are_refused(tmp_path, monkeypatch):
    (tmp_path / "units.csv").write_bytes(b"")
    with pytest.raises(RefusedFile, match="empty"):
        read_content(tmp_path / "units.csv")
    with pytest.raises(RefusedFile, match="no regular file"):
        read_content(tmp_path)
    monkeypatch.setattr(Path, "read_bytes", lambda path: (path / "below").open())
    with pytest.raises(RefusedFile, match="cannot be read: Not a directory"):
        read_content(tmp_path / "units.csv")


def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "units.csv")
    with pytest.raises(RefusedFile, match="no regular file"):
        read_content(tmp_path / "units.csv")


FIELD = st.text(
    st.characters(codec="utf-8", exclude_characters="\0\r\n", exclude_categories=("Cs",)), max_size=6
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(FIELD, FIELD), max_size=8))
def test_any_text_comes_back_as_it_was_written(fields):
    """The writer is Python's own csv module, which quotes where it must."""
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerows([("unit_id", "ward"), *fields])
    told = [((row[0] or "", row[1] or ""), row[2]) for row in rows(written.getvalue())]
    assert told == [(pair, line) for line, pair in enumerate(fields, start=2) if any(pair)]
