"""The month's workbook: every number of the findings, and nothing that a spreadsheet would run or follow."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from plain_sheets import as_instant, nearly, parts, rows, sheets
from report_results import HOSTILE_UNIT, HOSTILE_WARD, MONTH, SITE, busy_month, published

from pipeline.findings import findings
from pipeline.findings.cautions import CAUTIONS, PSEUDONYMS
from pipeline.findings.model import Cell, Column, Section, SiteFindings, Table
from pipeline.findings.opening import tally
from reports.month_sheets import sheet_name
from reports.month_workbook import month_workbook

ZONE = ZoneInfo("Pacific/Auckland")


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> SiteFindings:
    found = findings(published(tmp_path_factory.mktemp("busy"), busy_month()), [], [], SITE, MONTH)
    return replace(found, time_zone=ZONE.key)


@pytest.fixture(scope="module")
def book(told) -> bytes:
    return month_workbook(told)


def holding(*tables: Table) -> SiteFindings:
    """Findings of one section with these tables and nothing else."""
    section = Section("k", "", "Section", "Why?", "Ward", (), (), (), tables)
    return SiteFindings("T", MONTH, datetime(2026, 11, 1), "UTC", "run", "", (), (), (), (section,), ())


def every_block(told: SiteFindings) -> Iterable[tuple[int, str, Table]]:
    """The number of its section, the caption, and the table, of all that stands in the workbook."""
    for number, section in enumerate(told.sections, start=1):
        yield from ((number, table.caption, table) for table in section.tables)
        for figure in section.figures:
            if figure.table.rows:
                yield number, f"Chart: {figure.title}. {figure.subtitle}.", figure.table


def read_back(cell: str | float | None, wanted: Cell) -> Cell:
    """A cell as it was before it was written: a date in local time is an instant again."""
    if isinstance(wanted, datetime):
        assert isinstance(cell, float)
        return as_instant(cell).replace(tzinfo=ZONE).astimezone(UTC).replace(tzinfo=None)
    return cell


def test_the_first_sheet_has_title_cautions_and_every_matter(told, book):
    first = rows(book)["Read first"]
    lines = [row[0] for row in first if row]
    assert lines[0] == f"{SITE}: high-flow units in October 2026"
    assert {*CAUTIONS, PSEUDONYMS, tally(told), *told.signals} <= set(lines)
    top = first.index(["Status", "What needs attention", "Evidence", "For"]) + 1
    assert first[top : top + len(told.attention)] == [
        [item.status, item.headline, item.evidence, item.reader] for item in told.attention
    ]


def test_the_first_sheet_says_what_each_sheet_holds(book):
    found = rows(book)
    listed = found["Read first"][found["Read first"].index(["Sheet", "What it holds"]) + 1 :]
    assert [row[0] for row in listed] == list(found)[1:]


def test_every_row_of_every_table_is_that_of_the_findings(told, book):
    found = {name.split()[0]: sheet for name, sheet in rows(book).items()}
    blocks = list(every_block(told))
    assert len(blocks) > 60
    for number, caption, table in blocks:
        sheet, width = found[str(number)], len(table.columns)
        top = sheet.index([caption]) + 2
        if not table.rows:
            assert sheet[top - 1] == [table.when_empty]
        for shown, wanted in zip(sheet[top : top + len(table.rows)], table.rows, strict=True):
            whole = [*shown, *[None] * (width - len(shown))]
            read = [read_back(cell, value) for cell, value in zip(whole, wanted, strict=True)]
            assert [nearly(cell) for cell in read] == [
                None if value == "" else nearly(value) for value in wanted
            ]


def test_every_measure_has_its_numbers_in_full(told, book):
    shown = rows(book)["Measures"][3:]
    assert len(shown) == len(told.measures)
    for row, item in zip(shown, told.measures, strict=True):
        now, then, apart = item.now, item.reference, item.difference
        wanted = [now.value, now.count, now.total, now.low, now.high, then.value, then.count, then.total]
        wanted += [getattr(apart, name, None) for name in ("value", "low", "high")]
        assert [nearly(cell) for cell in (*row[3:11], *row[14:17])] == [nearly(value) for value in wanted]
        assert row[1:3] == [item.label, item.unit]
        assert row[17:] == [item.status, item.reading]


def test_every_month_of_every_measure_is_there(told, book):
    shown = [(row[1], row[3], nearly(row[4] if len(row) > 4 else None)) for row in rows(book)["Months"][3:]]
    wanted = [
        (item.label, point.month, nearly(point.value)) for item in told.measures for point in item.points
    ]
    assert shown == wanted


def test_nothing_in_it_is_a_formula_or_leads_outside(book):
    files = parts(book)
    assert not [name for name in files if "external" in name.lower() or "hyperlink" in name.lower()]
    for name, content in files.items():
        if name.startswith("xl/worksheets/"):
            assert b"<f>" not in content
            assert b"<hyperlink" not in content
        assert b'TargetMode="External"' not in content


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@x", "\t=1", "https://tarnholt.example/", "00712", "1e5"]
)
def test_what_a_spreadsheet_would_read_otherwise_stays_text(text):
    table = Table("k", "Ids", (Column("Id", "unit"),), ((text,),))
    assert rows(month_workbook(holding(table)))["1 Section"][3] == [text]


def test_hostile_names_are_kept_as_they_are(book):
    texts = {cell for sheet in rows(book).values() for row in sheet for cell in row}
    assert {HOSTILE_UNIT, HOSTILE_WARD} <= texts


def test_what_stays_in_sight(book):
    for name, sheet in sheets(book).items():
        (pane,) = (item for item in sheet.iter() if item.tag.endswith("}pane"))
        assert pane.get("state") == "frozen"
        assert pane.get("ySplit") == ("3" if name in ("Measures", "Months") else "1")


def test_instants_are_dates_in_local_time_with_the_zone_in_the_head():
    table = Table("k", "Cases", (Column("Began", "instant"),), ((datetime(2026, 10, 31, 23, 30),),))
    found = replace(holding(table), time_zone=ZONE.key)
    head, row = rows(month_workbook(found))["1 Section"][2:]
    assert head == ["Began (Pacific/Auckland)"]
    assert as_instant(row[0]) == datetime(2026, 11, 1, 12, 30)


def test_names_of_sheets_are_short_allowed_and_different(told, book):
    names = list(sheets(book))
    assert len({name.lower() for name in names}) == len(names) == 3 + len(told.sections)
    assert all(len(name) <= 31 for name in names)
    assert sheet_name("1 [a]: b/c? 'd'" + "x" * 40) == "1 a bc d" + "x" * 23


def test_a_month_with_nothing_has_its_sheets_and_words(tmp_path):
    found = rows(month_workbook(findings(published(tmp_path, {}), [], [], SITE, MONTH)))
    assert [
        "Chains of stays without a valid disinfection between them, reaching October 2026: none"
    ] in found["4 Unprotected changeovers"]


def test_a_spreadsheet_program_reads_what_was_written(book, tmp_path):
    office = shutil.which("soffice")
    if office is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("LibreOffice is not installed")
    (tmp_path / "in.xlsx").write_bytes(book)
    command = [office, f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}", "--headless"]
    command += ["--convert-to", "xlsx", "--outdir", tmp_path / "out", tmp_path / "in.xlsx"]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    again, before = rows((tmp_path / "out" / "in.xlsx").read_bytes()), rows(book)
    assert list(again) == list(before)
    for name, sheet in before.items():
        kept = [[nearly(cell) for cell in row] for row in again[name]]
        assert kept == [[nearly(cell) for cell in row] for row in sheet]
