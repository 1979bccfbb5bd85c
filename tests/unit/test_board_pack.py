"""The board pack: tagged and archivable, its whole summary on page 1, every number that of the findings."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pypdf
import pytest
from printed_numbers import assert_printed, of_measure
from report_results import (
    HOSTILE_UNIT,
    MONTH,
    SITE,
    busy_month,
    changeover_case,
    changeovers,
    drawn_of,
    overruns,
    published,
)

from pipeline.findings import findings
from pipeline.findings.cautions import CAUTIONS, PSEUDONYMS
from pipeline.findings.model import Attention, SiteFindings, Table
from pipeline.findings.opening import tally
from reports.board_pack import board_pack
from reports.board_pack_figures import MOST_FIGURES, main_figures
from reports.board_pack_readers import MOST_ROWS, READERS
from reports.board_pack_text import COVERED, printable
from reports.charts import keys
from reports.style import COLOURS

TEMPLATES = Path(keys.__file__).parents[1] / "templates"

#: What a layout language might obey, in 60 letters and more.
MARKUP = '#panic("x") ] $x$ *b* @a <b> `c` \\u{41} // #import "y" — ' + "W" * 30


def told_of(folder, tables) -> SiteFindings:
    return findings(published(folder, tables), [], [], SITE, MONTH)


def read(found: SiteFindings) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(board_pack(found, drawn_of(found))))


def words(page: pypdf.PageObject) -> str:
    """The text of a page in one line."""
    return " ".join(page.extract_text().split())


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> SiteFindings:
    return told_of(tmp_path_factory.mktemp("busy"), busy_month())


@pytest.fixture(scope="module")
def pack(told) -> pypdf.PdfReader:
    return read(told)


@pytest.fixture(scope="module")
def pages(pack) -> list[str]:
    return [words(page) for page in pack.pages]


def elements(node) -> list[pypdf.generic.DictionaryObject]:
    """Every structure element below a node."""
    node = node.get_object()
    if isinstance(node, pypdf.generic.ArrayObject):
        return [found for child in node for found in elements(child)]
    if not isinstance(node, pypdf.generic.DictionaryObject):
        return []
    return [*([node] if "/S" in node else []), *(elements(node["/K"]) if "/K" in node else [])]


def drawn_in(told: SiteFindings):
    own = {name: [item for item in told.sections if item.reader == name] for name in READERS}
    return [
        figure
        for sections in own.values()
        for section in sections
        for figure in main_figures(section, max(2, MOST_FIGURES // len(sections)))
    ]


def test_it_is_tagged_has_a_language_and_carries_both_marks(pack):
    root = pack.trailer["/Root"]
    assert root["/Lang"] == "en-GB"
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert pack.metadata.title == f"{SITE}: high-flow units in October 2026"
    marks = root["/Metadata"].get_object().get_data().decode()
    assert re.search(r"pdfaid:part>2<.*pdfaid:conformance>A<", marks, re.DOTALL)
    assert "pdfuaid:part>1<" in marks


def test_every_font_is_embedded(pack):
    fonts = [
        font.get_object()
        for page in pack.pages
        for font in page["/Resources"].get("/Font", {}).get_object().values()
    ]
    assert fonts
    for font in fonts:
        descendant = font.get("/DescendantFonts", [font])[0].get_object()
        assert any(name.startswith("/FontFile") for name in descendant["/FontDescriptor"]), font["/BaseFont"]


def test_every_chart_has_its_finding_as_its_alternative(told, pack):
    figures = [item for item in elements(pack.trailer["/Root"]["/StructTreeRoot"]) if item["/S"] == "/Figure"]
    alternatives = [item["/Alt"] for item in figures]
    assert len(alternatives) == len(drawn_in(told)) > 12
    for figure, alternative in zip(
        sorted(drawn_in(told), key=lambda item: item.title), sorted(alternatives), strict=True
    ):
        assert alternative.startswith(printable(f"{figure.title}. {figure.subtitle}."))


def test_the_first_page_holds_the_whole_summary(told, pages):
    first = pages[0]
    wanted = [
        "High-flow units in October 2026", told.scope, *CAUTIONS, PSEUDONYMS, tally(told), *told.signals,
        *(item.headline for item in told.attention), *(item.evidence for item in told.attention),
        *(measure.label for measure in told.measures),
    ]  # fmt: skip
    for text in wanted:
        assert printable(" ".join(text.split())) in first


def test_every_number_at_a_glance_is_that_of_the_findings(told, pages):
    rest = pages[0].partition("Measures at a glance")[2]
    for measure in told.measures:
        line = rest.partition(printable(measure.label))[2]
        values = of_measure(measure)
        shown = re.match(rf"[^\d+−±<>]*(?:[+−±<>]?[\d][\d,.]*[^\d+−±<>]*){{{len(values)}}}", line)
        assert shown, (measure.label, line[:200])
        assert_printed(shown[0], values)
        rest = line


def test_every_page_after_the_first_has_the_cautions_and_its_number(pages):
    for number, text in enumerate(pages[1:], start=2):
        assert " ".join((*CAUTIONS, PSEUDONYMS)) in text
        assert f"page {number} of {len(pages)}" in text


def test_each_matter_leads_to_the_page_of_its_section(told, pages):
    titles = {section.key: section.title for section in told.sections}
    for item in told.attention:
        (number,) = set(re.findall(rf"{re.escape(item.evidence)} {item.reader} page (\d+)", pages[0]))
        assert titles[item.section] in pages[int(number) - 1]


def test_every_look_of_a_key_has_its_sign():
    signs = set(re.findall(r'look == "(\w+)"', (TEMPLATES / "board_pack.typ").read_text("utf-8")))
    looks = set(re.findall(r'Key\(.*, "(\w+)"\)', Path(keys.__file__).read_text("utf-8")))
    assert len(looks) > 10
    assert looks <= signs | COLOURS.keys()


def test_text_in_charts_is_seven_points_or_more(pack):
    sizes: dict[float, str] = {}

    def note(text, matrix, text_matrix, _font, size):
        if text.strip():
            sizes.setdefault(round(abs(size * text_matrix[3] * matrix[3]), 1), text)

    for page in pack.pages[1:]:
        page.extract_text(visitor_text=note)
    key, footer = 5.8, 6.6
    assert min(sizes.keys() - {key, footer}) >= 7


def test_no_heading_is_the_last_of_a_page(told, pages):
    headings = [text for section in told.sections for text in (section.title, section.question)]
    for text in pages[1:]:
        body = text.partition("Records may be incomplete")[0].strip()
        assert not body.endswith(tuple(headings))


def test_hostile_names_are_printed_as_they_are(pages):
    text = " ".join(pages)
    assert "</script><img src=x onerror=\"alert(1)\"> & 'Ward' ‹U+202E›dlog" in text
    assert HOSTILE_UNIT in text


def test_what_a_layout_language_would_obey_is_printed(tmp_path):
    case = {**changeover_case(0), "ward": MARKUP, "unit_id": "#u"}
    tables = {"changeover_monthly": changeovers([(0, 9)] * 13 + [(1, 9)]), "changeovers": [case]}
    text = "".join(page.extract_text() for page in read(told_of(tmp_path, tables)).pages)
    assert re.sub(r"\s", "", MARKUP) in re.sub(r"\s", "", text)


def test_a_character_without_a_glyph_stands_as_its_code_point(tmp_path):
    case = {**changeover_case(0), "ward": "東 \u0000\U0001f6cf"}
    tables = {"changeover_monthly": changeovers([(1, 9)]), "changeovers": [case]}
    text = " ".join(map(words, read(told_of(tmp_path, tables)).pages))
    assert "‹U+6771› ‹U+0000›‹U+1F6CF›" in text


def test_the_fonts_hold_every_character_that_is_left_as_it_is(told):
    ranges = re.findall(r"\\u(....)(?:-\\u(....))?", COVERED)
    held = [chr(code) for low, high in ranges for code in range(int(low, 16), int(high or low, 16) + 1)]
    assert len(held) > 600
    shown = "".join(held).replace(" ", "")
    board_pack(
        replace(told, scope=shown, sections=(), measures=()), drawn_of(replace(told, sections=()))
    )  # raises where a glyph is lacking


def test_cases_left_to_the_page_are_counted(tmp_path):
    cases = [changeover_case(number) for number in range(MOST_ROWS + 7)]
    tables = {"changeover_monthly": changeovers([(len(cases), 90)]), "changeovers": cases}
    text = " ".join(map(words, read(told_of(tmp_path, tables)).pages))
    assert len(set(re.findall(r"\bu\d+\b", text))) == MOST_ROWS
    assert f"Changeovers to look into, October 2026: {len(cases)}, the first {MOST_ROWS} here" in text
    assert "And 7 more in the site's page." in text


def test_a_summary_too_long_for_a_page_says_what_stands_on_the_next(told):
    many = replace(told, sections=(), attention=told.attention + tuple(
        Attention("Worth a look", f"Matter {number}", "Its evidence. " * 20, "Ward", "water") for number in range(20)
    ))  # fmt: skip
    first, *others = (words(page) for page in read(many).pages)
    assert all(item.headline in first for item in many.attention)
    steady = sum(measure.status == "Steady" for measure in told.measures)
    assert f"{steady} steady measures stand on the next page." in first
    assert "All measures at a glance" in others[0]
    assert sum(text.count("Its evidence. Its evidence.") > 0 for text in others) > 0


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ({}, "Nothing to measure this month"),
        ({"part_overrun_monthly": overruns([(0, 0)])}, "Nothing to measure this month"),
        ({"part_overrun_monthly": overruns([(1, 9)], ward="Alder") + overruns([(1, 9)])}, "1 of 9"),
        (
            {"turnarounds": [{"ward": "Alder", "unit_id": "u1", "status": "waiting", "turnaround_h": 5.0}]},
            "Nothing to measure this month",
        ),
    ],
    ids=["empty month", "none of none", "one ward", "all waiting"],
)
def test_a_month_with_little_has_plain_words_and_no_sign_of_a_fault(tmp_path, tables, said):
    found = told_of(tmp_path, tables)
    text = " ".join(map(words, read(found).pages))
    assert said in text
    assert not re.search(r"\b(nan|inf)\b", text)


def test_the_table_of_the_pack_says_when_it_is_empty(told):
    empty = Table("k", "Cases of the month: none", (), (), "None this month.")
    section = replace(told.sections[0], figures=(), tables=(empty,))
    text = " ".join(map(words, read(replace(told, sections=(section,))).pages))
    assert "Cases of the month: none None this month." in text
