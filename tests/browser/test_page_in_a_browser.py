"""The whole page: without scripts, in every mode, by keyboard, on paper, and for one ward or one unit."""

from __future__ import annotations

import re
from urllib.parse import unquote

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect
from report_results import HOSTILE_UNIT, HOSTILE_WARD

from reports.csv_link import gzipped

#: Which rows of a figure's table its marks stand for, and whether they have faded.
_FADING = """key => marksOf.get(document.getElementById(key)).map(
    (mark) => [mark.__data__.datum.row, mark.classList.contains("faded")]
)"""

_TOO_WIDE = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


@pytest.fixture(scope="module")
def plain(open_page, text):
    """The page with scripts switched off."""
    return open_page(text, java_script_enabled=False)


@pytest.fixture(scope="module")
def page(open_page, text):
    """The page with its scripts."""
    return open_page(text).page


def test_without_scripts_every_figure_has_its_drawing_title_and_table(plain):
    figures = plain.page.locator("figure:has(.plot)")
    assert figures.count() > 30
    for part in (".plot svg", "figcaption h3", "details table", "a[download]"):
        assert plain.page.locator(f"figure:has(.plot):has({part})").count() == figures.count(), part
    assert plain.console == []


def test_without_scripts_nothing_offers_what_only_they_can_do(plain):
    assert plain.page.locator("select:visible, button:visible, .scripted:visible").count() == 0


#: In the dark only colours are others, on a phone all but colours; asking for those takes longest by far.
_EVERYTHING = {"resultTypes": ["violations"]}
_COLOURS = _EVERYTHING | {"runOnly": ["cat.color"]}
_ALL_BUT_COLOURS = _EVERYTHING | {"rules": {"color-contrast": {"enabled": False}}}


@pytest.mark.parametrize(
    ("width", "scheme", "rules"),
    [(1280, "light", _EVERYTHING), (1280, "dark", _COLOURS), (390, "light", _ALL_BUT_COLOURS)],
    ids=["light", "dark", "phone"],
)
def test_axe_finds_nothing(open_page, text, width, scheme, rules):
    found = open_page(text, width, color_scheme=scheme)
    found.page.select_option("#unit", HOSTILE_UNIT)
    found.page.locator("#overruns-circuit-p").scroll_into_view_if_needed()
    expect(found.page.locator("#overruns-circuit-p")).to_have_class(re.compile("live"))
    found.page.locator("#overruns-circuit-p .plot").focus()
    found.page.keyboard.press("ArrowLeft")
    results = Axe().run(found.page, options=rules)
    assert results.violations_count == 0, results.generate_report()
    assert found.page.locator("figure.live").count() > 0


@pytest.mark.parametrize("width", [390, 320])
def test_a_phone_never_scrolls_the_page_sideways(open_page, text, width):
    found = open_page(text, width)
    found.page.select_option("#unit", HOSTILE_UNIT)
    assert not found.page.evaluate(_TOO_WIDE)


def test_the_first_stop_of_the_keyboard_skips_to_what_needs_attention(open_page, text):
    found = open_page(text).page
    found.keyboard.press("Tab")
    expect(found.locator(":focus")).to_have_attribute("href", "#first")


@pytest.mark.parametrize("width", [1280, 390])
def test_each_link_of_the_contents_leads_to_its_chapter(open_page, text, width):
    page = open_page(text, width=width).page
    links = page.locator("nav a").all()
    assert len(links) > 10
    for link in links[::-1]:
        page.evaluate("scrollTo(0, 0)")
        chapter = page.locator(link.get_attribute("href"))
        link.click()
        page.wait_for_timeout(200)
        # The last one cannot be scrolled further up than the page is long.
        at_end = page.evaluate("scrollY + innerHeight >= document.documentElement.scrollHeight - 2")
        assert at_end or chapter.evaluate("found => Math.abs(found.getBoundingClientRect().top)") < 2


def test_enter_opens_the_numbers(page):
    numbers = page.locator("#cover-now details")
    numbers.locator("summary").focus()
    page.keyboard.press("Enter")
    expect(numbers.locator("table")).to_be_visible()


def test_a_long_list_is_saved_as_the_file_that_it_is(open_page, text):
    link = re.compile('download="changeover-cases.csv" href="data:text/csv;charset=utf-8,([^"]*)"')
    wanted = unquote(link.search(text)[1])
    href = f"data:application/gzip;base64,{gzipped(wanted)}"
    found = open_page(
        link.sub(f'download="changeover-cases.csv.gz" href="{href}"', text), accept_downloads=True
    )
    with found.page.expect_download() as saved:
        found.page.locator("a[download='changeover-cases.csv.gz']").click()
    assert saved.value.suggested_filename == "changeover-cases.csv"
    assert saved.value.path().read_bytes().decode() == wanted
    assert found.console == []


def test_a_ward_leaves_its_own_rows_and_says_of_how_many(page):
    page.select_option("#ward", "Alder")
    cells = page.locator("#table-cover-wards-circuit tbody tr:not([hidden]) th").all_text_contents()
    assert [cell.strip() for cell in cells] == ["Alder"]
    expect(page.locator("#cover-wards-circuit summary")).to_contain_text("ward Alder: 1 of 2 rows")
    expect(page.locator("#chosen")).to_contain_text("Showing ward Alder, 2 of 2. Figures of the site")
    assert page.locator("#table-cover-now tbody tr[hidden]").count() == 0


def test_marks_of_other_wards_fade_in_charts_that_are_already_live(page):
    page.locator("#funnel-1").scroll_into_view_if_needed()
    expect(page.locator("#funnel-1")).to_have_class(re.compile("live"))
    page.select_option("#ward", "Alder")
    rows = page.locator("#table-funnel-1 tbody th").all_text_contents()
    assert {(rows[row].strip() != "Alder", faded) for row, faded in page.evaluate(_FADING, "funnel-1")} == {
        (True, True), (False, False),
    }  # fmt: skip


def test_charts_of_other_wards_go(page):
    own = page.locator("figure[data-ward]")
    assert own.count()
    page.select_option("#ward", "Alder")
    for figure in own.all():
        expect(figure).to_be_visible(visible=figure.get_attribute("data-ward") == "Alder")


def test_a_unit_shows_its_rows_its_line_and_its_times(page):
    page.select_option("#unit", HOSTILE_UNIT)
    rows = page.locator("#table-changeover-cases tbody tr:not([hidden])")
    assert rows.count() == 12
    line = page.locator("#found .line svg")
    expect(line).to_have_attribute("aria-label", re.compile("^Life line of unit =HYPERLINK"))
    page.locator("#found details summary").click()
    times = page.locator("#found details tbody tr").all_inner_texts()
    assert "2 Oct 26, 00:00\t3 Oct 26, 00:00\tin use" in times
    assert "20 Oct 26, 01:00\t1 Nov 26, 00:00\tdisinfected and not used since" in [
        row.replace("the end", "1 Nov 26, 00:00") for row in times
    ]


def test_everything_is_shown_again(page):
    page.select_option("#unit", HOSTILE_UNIT)
    page.get_by_role("button", name="Show everything").click()
    assert page.locator("tr[hidden], .part, .faded").count() == 0
    expect(page.locator("#chosen")).to_be_hidden()
    expect(page.locator("#unit")).to_be_focused()


def test_a_hostile_ward_is_filtered_by_and_never_obeyed(page):
    page.select_option("#ward", HOSTILE_WARD)
    cells = page.locator("#table-cover-wards-circuit tbody tr:not([hidden]) th").all_text_contents()
    assert [cell.strip() for cell in cells] == [HOSTILE_WARD]
    assert page.locator("img").count() == 0


def test_paper_is_light_in_a_dark_room_and_leaves_controls_out(open_page, text):
    found = open_page(text, color_scheme="dark").page
    dark = found.evaluate("getComputedStyle(document.body).color")
    found.emulate_media(media="print", color_scheme="dark")
    assert found.evaluate("getComputedStyle(document.body).color") == "rgb(28, 42, 48)" != dark
    assert found.locator("#closer:visible, .skip:visible, .csv:visible, button:visible").count() == 0


def test_eight_sheets_hold_the_month(open_page, text):
    sheets = re.findall(rb"/Type\s*/Page\b", open_page(text).page.pdf(prefer_css_page_size=True))
    assert 3 <= len(sheets) <= 8
