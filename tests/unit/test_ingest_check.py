"""A check finds what ingest would, says it in plain words, and leaves nothing behind."""

import datetime
import json
import os
import tempfile
import zipfile
from pathlib import Path

import html5lib
import pytest
from ingest_rows import RULES

from pipeline.errors import NothingToDo, UsageError
from pipeline.ingest.advice import ADVICE
from pipeline.ingest.check import PATIENT, check
from pipeline.ingest.check_workbook import write_workbook
from pipeline.ingest.row_rules import MEANINGS
from pipeline.ingest.untrusted import read_sheet

NOW = datetime.datetime(2026, 12, 1, tzinfo=datetime.UTC)
EPISODES = """patient_ref,unit_id,ward,started_at,ended_at
m-1,001,Alder,2026-03-29T01:30,2026-03-30T08:00
m-2,001,Alder,2026-10-25T01:30,
m-3,002,Alder,tomorrow,
,002,Alder,2026-03-02T08:00,2026-03-01T08:00
m-4,002,Alder
m-5,003,Alder,2026-03-02T08:00,2026-03-02T09:00
m-5,003,Alder,2026-03-02T08:00,2026-03-02T09:00
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "site.toml").write_text(RULES)
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "episodes.csv").write_text(EPISODES)
    return tmp_path / "in"


def checked(folder, **stated):
    asked = {
        "site": None,
        "rules_path": folder.parent / "site.toml",
        "profile_path": None,
        "mask": False,
        "now": NOW,
    }
    return check([folder], **{**asked, **stated})


def listed(report):
    return [
        (found.kind, found.row, found.column, found.rule, found.value)
        for found in report.findings
        if found.row
    ]


def test_every_fault_is_listed_with_its_row_column_and_value(folder):
    assert listed(checked(folder)) == [
        ("quarantined", 2, "started_at", "nonexistent_local_time", "2026-03-29T01:30"),
        ("warning", 3, "started_at", "ambiguous_local_time", "2026-10-25T01:30"),
        ("warning", 3, "ended_at", "missing_end", None),
        ("quarantined", 4, "started_at", "bad_time", "tomorrow"),
        ("quarantined", 5, "patient_ref", "missing_value", None),
        ("quarantined", 5, "ended_at", "ends_before_start", "2026-03-01T08:00"),
        ("quarantined", 6, None, "missing_value", None),
        ("quarantined", 6, None, "wrong_field_count", None),
    ]


def test_the_account_is_that_of_ingest(folder):
    (file,) = checked(folder).files
    assert (file.rows_read, file.accepted, file.duplicates, file.quarantined) == (7, 2, 1, 4)
    notes = [(found.rule, found.rows) for found in checked(folder).findings if found.row is None]
    assert notes == [("duplicates", 1)]


def test_nothing_is_written(folder, monkeypatch, tmp_path_factory):
    temporary = tmp_path_factory.mktemp("temporary")
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    before = sorted(folder.parent.rglob("*"))
    checked(folder)
    assert sorted(folder.parent.rglob("*")) == before
    assert os.listdir(temporary) == []


def test_a_patients_reference_is_never_passed_on(folder):
    text = "old_ref,new_ref,merged_at\nm-701,m-702,soon\n"
    (folder / "patient_merges.csv").write_text(text)
    report = checked(folder)
    assert "m-70" not in json.dumps(report.as_json(), default=str)
    (folder / "setup_checks.csv").write_text(
        "unit_id,patient_ref,checked_at,step,result\n,m-703,2026-03-02,a,b\n"
    )
    assert "m-703" not in json.dumps(checked(folder).as_json(), default=str)


def test_masked_values_show_only_their_shape(folder):
    values = {value for *_, value in listed(checked(folder, mask=True)) if value}
    assert values == {"9999-99-99x99:99", "xxxxxxxx"}


def test_columns_are_called_what_the_file_calls_them(folder):
    profile = folder.parent / "profile.toml"
    profile.write_text(
        'name = "m"\ntable = "episodes"\nfiles = ["m*"]\n[columns]\nstarted_at = ["Day", "Time"]\nward = "Station"\n'
    )
    (folder / "episodes.csv").unlink()
    (folder / "m.csv").write_text("patient_ref,unit_id,Station,Day,Time\nx,1,,2026-03-02,8h\n")
    found = listed(checked(folder, profile_path=profile))
    assert found == [
        ("quarantined", 2, "Station", "missing_value", None),
        ("quarantined", 2, "Day + Time", "bad_time", "2026-03-02 8h"),
    ]


def test_files_as_a_whole(folder):
    (folder / "units.csv").write_text("ward,remarks\nAlder,x\n")
    (folder / "count_readings.csv").write_text("unit_id,read_at,cycle_count,bed\n1,2026-03-02T08:00,7,2\n")
    (folder / "notes.txt").write_text("x")
    (folder / "episodes.csv").unlink()
    report = checked(folder)
    told = {found.file: (found.kind, found.rule) for found in report.findings}
    assert told == {"units.csv": ("refused", "refused"), "count_readings.csv": ("note", "undeclared_columns")}
    assert report.passed_over == ("notes.txt",)


def test_units_that_the_list_does_not_have(folder):
    (folder / "units.csv").write_text("unit_id\n001\n002\n")
    found = [item for item in checked(folder).findings if item.rule == "unknown_unit"]
    assert [(item.file, item.rows, item.kind) for item in found] == [("episodes.csv", 1, "warning")]


def test_without_rules_the_clock_is_utc_and_that_is_said(folder):
    report = checked(folder, rules_path=None)
    assert report.findings[0].rule == "no_rules"
    assert "nonexistent_local_time" not in {found.rule for found in report.findings}


def test_what_cannot_be_checked_at_all(folder):
    with pytest.raises(UsageError):
        check([folder / "none"], site=None, rules_path=None, profile_path=None, mask=False, now=NOW)
    (folder / "episodes.csv").unlink()
    with pytest.raises(NothingToDo):
        checked(folder)


def test_every_rule_has_its_advice():
    assert ADVICE.keys() == MEANINGS.keys()


PAYLOADS = [
    "=1+1",
    "+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "＝1+1",
    "http://x.example/?a",
    "mailto:x@y.example",
]


def test_a_workbook_of_findings_runs_nothing(folder, tmp_path):
    lines = "".join(f'"{payload}",1,A,soon,\n' for payload in PAYLOADS)
    lines += "".join(f'm,1,A,"{payload}",\n' for payload in PAYLOADS)
    (folder / "episodes.csv").write_text("patient_ref,unit_id,ward,started_at,ended_at\n" + lines)
    write_workbook(checked(folder), tmp_path / "findings.xlsx")
    with zipfile.ZipFile(tmp_path / "findings.xlsx") as book:
        parts = {name: book.read(name).decode() for name in book.namelist()}
    sheets = [text for name, text in parts.items() if name.startswith("xl/worksheets/sheet")]
    tags = {item.tag for text in sheets for item in html5lib.parse(text, namespaceHTMLElements=False).iter()}
    assert tags & {"f", "hyperlink", "hyperlinks"} == set()
    assert not any("hyperlink" in text for text in parts.values())
    cells = read_sheet((tmp_path / "findings.xlsx").read_bytes(), "Findings").cells
    assert cells.height == 1 + 2 * len(PAYLOADS)
    assert PATIENT not in str(cells.rows())


def test_the_same_findings_give_the_same_workbook(folder, tmp_path):
    for name in ("a.xlsx", "b.xlsx"):
        write_workbook(checked(folder), tmp_path / name)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    assert Path(tmp_path / "a.xlsx").stat().st_mode & 0o777 == 0o600


def test_a_fault_in_a_logbook_stands_in_the_row_and_column_of_its_cell(folder):
    (folder / "episodes.csv").unlink()
    (folder / "log.csv").write_text("Unit;01.03.2026;02.03.2026\n1;08:00;early\n")
    profile = folder.parent / "log.toml"
    profile.write_text(
        'name = "log"\nfiles = ["log.csv"]\ntable = "part_changes"\ndelimiter = ";"\n[columns]\nunit_id = "Unit"\n'
        '[constants]\npart = "circuit"\n[wide]\nday = "fitted_at"\nvalue = "fitted_at"\nday_format = "%d.%m.%Y"\n'
    )
    found = listed(checked(folder, profile_path=profile))
    assert ("quarantined", 2, "3", "bad_time", "2026-03-02 early") in found
