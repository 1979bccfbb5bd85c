"""The buyer's workbook: what it says first, that its formulas live, and that text stays text."""

from __future__ import annotations

import csv
import io
import os
import re
import shutil
import subprocess
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import polars as pl
import pytest
from planning_site import FORMULA, ZEROS

from pipeline.findings.cautions import CAUTIONS
from pipeline.planning.plan import Plan, make_plan
from pipeline.store.layout import open_store
from reports.plan_workbook import plan_workbook

#: Every sheet as CSV, formulas computed, full precision.
_AS_CSV = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
_FORMULA_CELL = re.compile(r"(<c [^>]*><f>[^<]*</f>)<v>[^<]*</v>")


@pytest.fixture(scope="module")
def plan(measured: Path, tmp_path_factory: pytest.TempPathFactory) -> Plan:
    folder = tmp_path_factory.mktemp("workbook")
    shutil.copytree(measured, folder / "store")
    return make_plan(open_store(folder / "store", create=False), 12)


@pytest.fixture(scope="module")
def book(plan: Plan) -> bytes:
    return plan_workbook(plan, "T")


def parts(book: bytes) -> dict[str, str]:
    """Return the files of a workbook as text."""
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        return {name: archive.read(name).decode() for name in archive.namelist()}


def sheet_names(book: bytes) -> list[str]:
    return re.findall(r'<sheet name="([^"]*)"', parts(book)["xl/workbook.xml"])


@pytest.fixture(scope="module")
def recalculated(tmp_path_factory: pytest.TempPathFactory) -> Callable[[bytes], dict[str, list[list[str]]]]:
    """Compute a workbook anew in LibreOffice, without the values that it was written with."""
    office = shutil.which("soffice")
    if office is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(
            "LibreOffice (libreoffice-calc-nogui) is not installed"
        )
    profile = tmp_path_factory.mktemp("profile")

    def compute(book: bytes) -> dict[str, list[list[str]]]:
        folder = tmp_path_factory.mktemp("recalculated")
        with zipfile.ZipFile(folder / "plan.xlsx", "w") as archive:
            for name, text in parts(book).items():
                archive.writestr(name, _FORMULA_CELL.sub(r"\1", text))
        command = [office, f"-env:UserInstallation={profile.as_uri()}", "--headless", "--convert-to", _AS_CSV]
        command += ["--outdir", folder, folder / "plan.xlsx"]
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        return {
            path.stem.removeprefix("plan-"): list(csv.reader(path.open(encoding="utf-8")))
            for path in sorted(folder.glob("plan-*.csv"))
        }

    return compute


@pytest.fixture(scope="module")
def computed(
    book: bytes, recalculated: Callable[[bytes], dict[str, list[list[str]]]]
) -> dict[str, list[list[str]]]:
    """The workbook's sheets as LibreOffice computes them."""
    return recalculated(book)


def test_cautions_come_first(book):
    assert sheet_names(book) == ["Read first", "Inputs", "Orders", "Need", "Budget", "Fleet"]
    first = parts(book)["xl/sharedStrings.xml"].replace("&apos;", "'")
    assert "no ground to stretch a part's life, reuse a part or withhold a unit" in first
    assert [words for words in CAUTIONS if words not in first] == []


def test_the_same_plan_gives_the_same_bytes_and_is_dated_by_its_records(plan, book):
    assert plan_workbook(plan, "T") == book
    assert (
        '<dcterms:created xsi:type="dcterms:W3CDTF">2026-01-01T00:00:00Z<' in parts(book)["docProps/core.xml"]
    )


def test_text_stays_text_and_nothing_leads_out_of_the_workbook(plan):
    renamed = pl.col(pl.String).replace({"circuit": "=HYPERLINK(0)"})
    hostile = {name: rows.with_columns(renamed) for name, rows in plan.tables.items()}
    files = parts(plan_workbook(replace(plan, tables=hostile), "T"))
    for name in ("=HYPERLINK(0)", FORMULA, ZEROS):
        assert name in files["xl/sharedStrings.xml"]
    formulas = [found for text in files.values() for found in re.findall(r"<f>([^<]*)</f>", text)]
    assert formulas
    assert not [formula for formula in formulas if "HYPERLINK" in formula or formula == FORMULA[1:]]
    assert not [
        name for name, text in files.items() if "<hyperlink" in text or 'TargetMode="External"' in text
    ]


def test_only_the_inputs_can_be_changed_and_sheets_are_made_to_print(book):
    for name, text in parts(book).items():
        if re.fullmatch(r"xl/worksheets/sheet[2-6]\.xml", name):
            assert "<sheetProtection " in text, name
            assert 'fitToHeight="0"' in text, name
            assert "<oddFooter>" in text, name
    assert parts(book)["xl/worksheets/sheet2.xml"].count("<dataValidation ") == 2 * 5 + 3


def test_recalculated_totals_equal_ours(plan, computed):
    sheets = computed
    stock = plan.tables["stock_plan"]
    orders = {row[0]: row for row in sheets["Orders"]}
    for item in stock.iter_rows(named=True):
        found = [float(orders[item["item_id"]][place]) for place in (8, 11, 12)]
        assert found == [item["reorder_point"], item["order_up_to"], item["order_packs"]]
    due = (stock["order_packs"] * stock["unit_price"]).sum()
    assert float(orders["Total"][13]) == pytest.approx(due)
    year = plan.tables["projection"].filter(
        pl.col("item_id").is_not_null(), pl.col("from_month") != pl.col("to_month")
    )
    total = next(row for row in sheets["Need"] if row[0] == "Total")
    assert [float(total[6]), float(total[7])] == pytest.approx(
        year.select("cost_p50", "cost_p90").sum().row(0)
    )
    budget = plan.tables["order_budget"]
    months = sheets["Budget"][0][2:-1]
    spent = dict(budget.group_by("month").agg(pl.col("cost").sum()).iter_rows())
    assert [float(cell) for cell in sheets["Budget"][-1][2:-1]] == pytest.approx(
        [spent[month] for month in months]
    )
    assert float(sheets["Budget"][-1][-1]) == pytest.approx(budget["cost"].sum())
    fleet = plan.tables["fleet_plan"].filter(turnaround="observed")
    shares = [float(row[1].rstrip("%")) / 100 for row in sheets["Fleet"][1:] if row[1]]
    assert shares == pytest.approx(fleet["shortage_probability"].to_list(), abs=1e-9)


def test_the_values_written_are_those_that_a_spreadsheet_computes(book, computed):
    kept = parts(book)
    for number, name in enumerate(sheet_names(book), start=1):
        text = kept[f"xl/worksheets/sheet{number}.xml"]
        for letters, row, value in re.findall(r'<c r="([A-Z]+)(\d+)"[^>]*><f>[^<]*</f><v>([^<]*)</v>', text):
            place = sum((ord(letter) - 64) * 26**power for power, letter in enumerate(reversed(letters))) - 1
            shown = computed[name][int(row) - 1][place]
            found = float(shown.rstrip("%")) / (100 if shown.endswith("%") else 1)
            assert found == pytest.approx(float(value), rel=1e-9, abs=1e-9), (name, letters, row)


def test_another_price_and_lead_time_change_orders_need_and_budget(plan, book, computed, recalculated):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, text in parts(book).items():
            if name == "xl/worksheets/sheet2.xml":  # the first item's price and lead time
                text = re.sub(r'(<c r="D2"[^>]*><v>)[^<]*', r"\g<1>300", text)
                text = re.sub(r'(<c r="E2"[^>]*><v>)[^<]*', r"\g<1>40", text)
            archive.writestr(name, text)
    after = recalculated(stream.getvalue())
    first = plan.tables["stock_plan"].row(0, named=True)
    moved = float(after["Orders"][1][8]) - first["reorder_point"]
    sd, z = first["need_per_day_sd"], 1.6448536269514722
    spread = [
        (days * sd**2 + first["need_per_day"] ** 2 * first["lead_time_sd_days"] ** 2) ** 0.5
        for days in (40, first["lead_time_days"])
    ]
    expected = first["need_per_day"] * (40 - first["lead_time_days"]) + z * (spread[0] - spread[1])
    assert moved == pytest.approx(expected, abs=1e-5)
    packs = float(after["Need"][1][4])
    assert float(after["Need"][1][6]) == packs * 300
    assert computed["Need"][2] == after["Need"][2]
    assert float(after["Budget"][-1][-1]) > float(computed["Budget"][-1][-1])


def test_a_plan_without_stock_or_history_is_a_workbook_all_the_same(plan):
    bare = replace(plan, tables={name: rows for name, rows in plan.tables.items() if name == "plan_notes"})
    assert sheet_names(plan_workbook(bare, "T")) == ["Read first"]
    dated = replace(bare, as_of=datetime(2026, 5, 6))
    assert "2026-05-06" in parts(plan_workbook(dated, "T"))["xl/sharedStrings.xml"]
