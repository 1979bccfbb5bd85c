"""The page shows the findings and nothing else, whatever names the records hold."""

from __future__ import annotations

import base64
import csv
import gzip
import hashlib
import io
import os
import re
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from urllib.parse import unquote
from xml.etree.ElementTree import Element
from zoneinfo import ZoneInfo

import html5lib
import pytest
from printed_numbers import numbers, stands_for
from report_results import HOSTILE_UNIT, HOSTILE_WARD, MONTH, SITE, busy_month, drawn_of, page_of, published

from pipeline.findings import findings
from pipeline.findings.cautions import CAUTIONS, PSEUDONYMS
from pipeline.findings.model import Cell, Column, SiteFindings, Table
from pipeline.findings.opening import tally
from pipeline.findings.wording import shown
from reports.board_pack import board_pack
from reports.charts import spec_of
from reports.csv_link import csv_file, csv_link
from reports.month_workbook import month_workbook
from reports.page import every_table
from reports.paper import printed, told_more
from reports.scripts import scripts
from reports.slug import slug

#: Of reports/live/vega.js as `npm run build` made it.
BUNDLE_SHA256 = "211a9b00164172bcb9ecadd9f815b34b096b1cd3a9f871ff8bc61b70af52307c"

HEADINGS = ("h1", "h2", "h3", "h4", "h5", "h6")


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> SiteFindings:
    """The findings of a month with a case of everything."""
    return findings(published(tmp_path_factory.mktemp("busy"), busy_month()), [], [], SITE, MONTH)


@pytest.fixture(scope="module")
def page(told: SiteFindings) -> str:
    return page_of(told)


@pytest.fixture(scope="module")
def tree(page: str) -> Element:
    return html5lib.parse(page, namespaceHTMLElements=False)


def text_of(element: Element) -> str:
    return " ".join("".join(element.itertext()).split())


def shown_rows(tree: Element, table: Table) -> list[list[str]]:
    (found,) = tree.findall(f".//table[@id='table-{slug(table.key)}']")
    return [[text_of(cell) for cell in row] for row in found.findall("tbody/tr")]


def told_cell(value: Cell, kind: str) -> str:
    text = str(value) if kind == "key" else shown(value, kind, ZoneInfo("UTC"))
    return " ".join(text.split())


def test_the_policy_lets_in_this_style_sheet_and_these_scripts_and_nothing_else(page, tree):
    (policy,) = (item.get("content") for item in tree.iter("meta") if item.get("http-equiv"))
    digests = [
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
        for text in re.findall(r"<(?:style|script)>(.*?)</(?:style|script)>", page, re.DOTALL)
    ]
    assert policy.split("; ") == [
        "default-src 'none'",
        f"script-src {' '.join(digests[1:])}",
        f"style-src {digests[0]}",
        "img-src data:",
        "base-uri 'none'",
        "form-action 'none'",
    ]


def test_the_bundle_is_the_one_that_was_built_and_stands_on_the_page_once(page):
    bundle, own = scripts()
    assert hashlib.sha256(bundle.encode()).hexdigest() == BUNDLE_SHA256
    assert page.count(bundle) == page.count(own) == 1
    assert page.count("<script>") == 2


def test_the_bundle_carries_the_licence_of_every_package_in_it():
    notices = scripts()[0].partition("*/")[0]
    assert {"vega-parser", "vega-interpreter", "vega-scenegraph", "d3-scale"} <= set(
        re.findall(r"(\S+) \d+\.\d+\.\d+", notices)
    )
    assert "Redistribution and use in source and binary forms" in notices
    assert "Permission to use, copy, modify, and/or distribute this software" in notices


def test_nothing_loads_or_carries_its_own_style_or_script(tree):
    tags = {element.tag for element in tree.iter() if isinstance(element.tag, str)}
    assert tags & {"img", "link", "iframe", "object", "embed", "form", "input", "b", "i"} <= {"i"}
    for element in tree.iter():
        assert not [name for name in element.attrib if name == "style" or str(name).startswith("on")]
        target = element.get("href", "#")
        assert target.startswith(("#", "data:text/csv;charset=utf-8,", "data:application/gzip;base64,"))


def test_hostile_names_are_shown_as_they_are(told, tree):
    words = "".join(tree.itertext())
    assert HOSTILE_WARD in words
    assert HOSTILE_UNIT in words
    assert "<i>step</i>" in words


def test_one_first_heading_and_no_level_is_skipped(tree):
    levels = [HEADINGS.index(element.tag) for element in tree.iter() if element.tag in HEADINGS]
    assert levels.count(0) == 1
    assert levels[0] == 0
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))


def test_the_first_link_skips_to_what_needs_attention(tree):
    first = next(tree.iter("a"))
    assert first.get("href") == "#first"
    assert next(element for element in tree.iter() if element.get("id") == "first") is not None


def test_every_link_within_the_page_leads_somewhere(tree):
    ids = [element.get("id") for element in tree.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert {link.get("href")[1:] for link in tree.iter("a") if link.get("href").startswith("#")} <= set(ids)


def test_all_cautions_stand_right_below_the_title(tree):
    header = next(tree.iter("header"))
    assert header.find("h1") is not None
    for caution in (*CAUTIONS, PSEUDONYMS):
        assert caution in text_of(header)


def test_every_figure_has_label_title_subtitle_drawing_and_numbers(told, tree):
    figures = {item.get("id"): item for item in tree.iter("figure")}
    expected = [figure for section in told.sections for figure in section.figures]
    assert len(figures) == len(expected)
    for figure in expected:
        drawn = figures[slug(figure.key)]
        assert drawn.get("aria-label") == f"{figure.title}. {figure.subtitle}."
        assert text_of(drawn.find("figcaption/h3")) == " ".join(figure.title.split())
        assert text_of(drawn.find("figcaption/p")) == " ".join(figure.subtitle.split())
        if not figure.table.rows:
            assert figure.note in text_of(drawn)
            continue
        assert drawn.find(".//{http://www.w3.org/2000/svg}svg") is not None
        assert drawn.find("details//table") is not None


def test_paper_has_the_first_row_of_charts_and_says_what_is_on_screen_only(told, tree):
    sections = {item.get("id"): item for item in tree.iter("section")}
    for section in told.sections:
        later = [item for item in sections[section.key].iter() if "later" in (item.get("class") or "")]
        charts = [item.tag for item in later].count("figure")
        lists = len(later) - charts
        assert (charts, lists) == (len(section.figures) - printed(section), max(0, len(section.tables) - 1))
        notes = [text_of(item) for item in sections[section.key].iter("p") if item.get("class") == "paper"]
        assert notes == ([f"On screen: {told_more(section)}."] if later else [])


@pytest.mark.parametrize(
    ("sizes", "first"),
    [
        ((), 0),
        (("third",) * 4, 3),
        (("half",) * 3, 2),
        (("full", "third"), 1),
        (("third", "third", "half"), 2),
    ],
)
def test_a_row_of_figures_is_as_wide_as_the_page(told, sizes, first):
    (figure, *_) = told.sections[0].figures
    figures = tuple(replace(figure, size=size) for size in sizes)
    assert printed(replace(told.sections[0], figures=figures)) == first


def test_every_kind_of_chart_keeps_to_the_grammar(told):
    kinds = {
        figure.chart: figure for section in told.sections for figure in section.figures if figure.table.rows
    }
    for figure in kinds.values():
        assert spec_of(figure, ZoneInfo("UTC"), checked=True) == spec_of(figure, ZoneInfo("UTC"))


def test_every_number_of_every_table_is_that_of_the_findings(told, tree):
    for table in every_table(told):
        if not table.rows:
            continue
        wanted = [
            [told_cell(value, column.kind) for value, column in zip(row, table.columns, strict=True)]
            for row in table.rows
        ]
        assert shown_rows(tree, table) == wanted, table.key


def test_every_measure_at_a_glance_has_its_value_and_baseline_in_full(told, tree):
    glance = next(table for table in tree.iter("table") if table.get("class") == "glance")
    values = [item.get("value") for item in glance.iter("data")]
    wanted = [
        str(value) for measure in told.measures for value in (measure.now.value, measure.reference.value)
    ]
    assert values == wanted


def test_every_number_at_a_glance_is_that_of_the_findings(told, tree):
    glance = next(table for table in tree.iter("table") if table.get("class") == "glance")
    lines = [row for row in glance.findall("tbody/tr") if row.get("class") != "group"]
    for line, measure in zip(lines, told.measures, strict=True):
        value, reference, difference = line.findall("td")[:3]
        now, then = measure.now, measure.reference
        small = (now.total,) if measure.counted == "days" else (now.count, now.total)
        shown = numbers(" ".join(text for cell in (value, reference, difference) for text in cell.itertext()))
        times = 100 if measure.unit == "share" else 1
        of_then = (then.total,) if measure.counted == "days" else (then.count, then.total)
        apart = [getattr(measure.difference, name, None) for name in ("value", "low", "high")]
        wanted = [(now.value, times), *((item, 1) for item in small), (now.low, times), (now.high, times)]
        wanted += [(then.value, times), *((item, 1) for item in of_then), *((item, times) for item in apart)]
        values = [item * by for item, by in wanted if item is not None]
        if then.provisional and then.total is not None:
            values.insert(-sum(item is not None for item in apart) or len(values), len(then.months))
        assert len(shown) == len(values)
        assert all(map(stands_for, shown, values)), measure.label


def test_every_matter_is_shown_and_those_beyond_six_are_counted(told, tree):
    lists = [item for item in tree.iter("ol") if item.get("class") == "matters"]
    assert [len(list(item)) for item in lists] == [6, len(told.attention) - 6]
    shown_matters = [text_of(item.find("div/h3")) for part in lists for item in part]
    assert shown_matters == [item.headline for item in told.attention]
    assert f"And {len(told.attention) - 6} more" in "".join(tree.itertext())


def test_every_unprotected_changeover_is_on_the_page(told, tree):
    table = next(
        table for section in told.sections for table in section.tables if table.key == "changeover-cases"
    )
    rows = shown_rows(tree, table)
    assert len(rows) == 12
    assert [row[3:5] for row in rows] == [[f"{number:032x}", f"{number + 1:032x}"] for number in range(12)]
    assert "12 changeovers in October 2026 without proof" in told.attention[0].headline


def test_a_signal_is_a_diamond_and_a_quiet_month_has_none(told, page, tmp_path):
    assert "var(--signal)" in page
    quiet = findings(published(tmp_path, {}), [], [], SITE, MONTH)
    body = page_of(quiet).split("</style>")[1]
    assert "var(--signal)" not in body
    assert 'class="signal"' not in body


def test_csv_holds_the_rows_in_full_and_runs_nothing(told):
    table = next(
        table for section in told.sections for table in section.tables if table.key == "changeover-cases"
    )
    text = unquote(csv_link(table).partition(",")[2])
    rows = list(csv.reader(io.StringIO(text, newline="")))
    assert len(rows) == 13
    assert rows[1][0] == "2026-10-02T08:00:00Z"
    assert rows[1][1] == f"'{HOSTILE_UNIT}"


def test_a_long_file_is_packed_and_comes_out_the_same():
    table = Table("key", "", (Column("Ward"),), ((HOSTILE_WARD,),) * 99)
    packed, short = csv_file(table), csv_file(replace(table, rows=table.rows[:9]))
    assert (packed.ending, short.ending) == (".csv.gz", ".csv")
    kind, _, letters = packed.link.partition(",")
    assert kind == "data:application/gzip;base64"
    assert gzip.decompress(base64.b64decode(letters)).decode() == unquote(csv_link(table).partition(",")[2])


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_csv_text_never_begins_as_a_formula(start):
    link = csv_link(Table("key", "", (), ((f"{start}1", -2.5),)))
    assert unquote(link.partition(",")[2]).splitlines(keepends=False)[-1].endswith("-2.5")
    assert f"'{start}1" in unquote(link)


def test_the_tally_counts_what_is_listed(told):
    assert tally(told) == (
        f"{sum(item.status == 'Needs a decision' for item in told.attention)} need a decision, "
        f"{sum(item.status == 'Worth a look' for item in told.attention)} are worth a look. "
        "Of 15 charted measures 10 are steady, 3 differ from their baseline and 2 cannot be judged."
    )


def test_a_month_with_nothing_says_so(tmp_path):
    page = page_of(findings(published(tmp_path, {}), [], [], SITE, MONTH))
    assert "1 cannot be judged. Of 13 charted measures none are steady and 13 cannot be judged." in page
    assert "Nothing can be measured in October 2026" in page
    assert "Not enough data to draw." in page
    assert "nan" not in page.split("</style>")[1].partition("<script")[0].lower().replace("tarnholt", "")


def test_the_page_is_small(page):
    assert len(page.encode()) < 1_500_000


def test_the_same_results_give_the_same_bytes_wherever_they_are_made(page, told, tmp_path):
    here = Path(__file__).parent
    code = (
        "import sys, hashlib; from pathlib import Path; sys.path[:0] = sys.argv[1:3];"
        "from report_results import *; from pipeline.findings import findings;"
        "from reports.board_pack import board_pack;"
        "from reports.month_workbook import month_workbook;"
        "told = findings(published(Path(sys.argv[3]), busy_month()), [], [], SITE, MONTH);"
        "made = page_of(told).encode(), board_pack(told, drawn_of(told)), month_workbook(told);"
        "print(*(hashlib.sha256(content).hexdigest() for content in made))"
    )
    elsewhere = os.environ | {"TZ": "America/New_York", "PYTHONHASHSEED": "7", "LC_ALL": "C"}
    command = [sys.executable, "-c", code, str(here), str(here.parents[1]), str(tmp_path)]
    drawn = subprocess.run(command, env=elsewhere, capture_output=True, text=True, check=True)
    made = page.encode(), board_pack(told, drawn_of(told)), month_workbook(told)
    assert drawn.stdout.split() == [hashlib.sha256(content).hexdigest() for content in made]
