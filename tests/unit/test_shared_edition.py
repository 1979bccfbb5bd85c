"""A shared page carries the site's and the wards' figures, from printed numbers only, and no case, unit or patient."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from urllib.parse import unquote
from xml.etree.ElementTree import Element

import html5lib
import pytest
from attacker import told
from report_results import MONTH, SITE, busy_month, overruns, page_of, published, unpacked
from shared_results import CANARY_KEY, CANARY_UNIT, EXACT, ROUNDING, edition, results_of, site_of

from pipeline.disclosure import LEAST_WIDTH, WITHHELD
from pipeline.findings import findings
from pipeline.findings.cautions import CAUTIONS
from pipeline.findings.model import Attention, Cell, Column, Figure, Section, Table, UnitLine
from pipeline.findings.shared import SharedEdition, shared_edition
from pipeline.findings.source import Source
from pipeline.measures.intervals import wilson
from reports.page import every_table

OVERRUN = {"Alder": (0, 30), "Birch": (0, 25), "Cedar": (1, 46), "Rowan": (8, 60)}
UNPROTECTED = {"Alder": (1, 24), "Birch": (1, 17), "Cedar": (0, 31), "Rowan": (1, 35)}

#: Other hidden numbers and other cases behind the same printed ones, each hidden count at least 3 away.
OVERRUN_TOO = {"Alder": (0, 28), "Birch": (0, 23), "Cedar": (4, 47), "Rowan": (8, 60)}
UNPROTECTED_TOO = {"Alder": (4, 25), "Birch": (1, 16), "Cedar": (0, 29), "Rowan": (2, 36)}


def numbers(text: str) -> int | str:
    """Return what stands in a cell: a whole number, or words; a link leaves out what a table marks as none."""
    return int(text.replace(",", "")) if text.replace(",", "").isdigit() else text.replace("–", "")


def rows_of(page: Element, key: str) -> dict[str, tuple[int | str, int | str]]:
    """Return count and total of each row of a table as a reader sees them."""
    (table,) = page.findall(f".//table[@id='table-{key}']")
    names = [cell.text for cell in table.find("thead/tr")]
    cells = [["".join(cell.itertext()) for cell in row] for row in table.findall("tbody/tr")]
    at = names.index("Cases"), names.index("Of")
    return {row[0]: (numbers(row[at[0]]), numbers(row[at[1]])) for row in cells}


def counts_of(told_of: SharedEdition, key: str) -> dict[Cell, tuple[Cell, Cell]]:
    """Return the same from the findings, which the page shows as they are."""
    (table,) = (table for table in every_table(told_of.findings) if table.key == key)
    names = [column.name for column in table.columns]
    return {row[0]: (row[names.index("Cases")], row[names.index("Of")]) for row in table.rows}


def links_of(page: Element) -> list[list[dict[str, str]]]:
    """Return the rows of every CSV file in the page."""
    links = [link.get("href") for link in page.iter("a") if link.get("download")]
    assert all(link.startswith("data:text/csv") for link in links)
    texts = [unquote(link.partition(",")[2]) for link in links]
    return [list(csv.DictReader(io.StringIO(text, newline=""))) for text in texts]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The same month under both profiles."""
    folder, rows = tmp_path_factory.mktemp("shared"), results_of(OVERRUN, UNPROTECTED)
    return {profile.name: page_of(edition(folder, rows, profile).findings) for profile in (ROUNDING, EXACT)}


def test_no_form_tells_the_hour_at_which_the_records_were_known(pages):
    for page in pages.values():
        assert "Records known at 1 Nov 2026; all times" in page


def parsed(page: str) -> Element:
    return html5lib.parse(page, namespaceHTMLElements=False)


@pytest.mark.parametrize("profile", [ROUNDING, EXACT], ids=lambda profile: profile.name)
@pytest.mark.parametrize(
    ("key", "wards"), [("overrun-of-due-circuit", OVERRUN), ("unprotected-changeovers", UNPROTECTED)]
)
def test_no_hidden_cell_can_be_told_from_the_numbers_of_the_page(pages, profile, key, wards):
    page = parsed(pages[profile.name])
    shown, site = rows_of(page, f"wards-{key}"), rows_of(page, f"months-{key}")["October 2026"]
    values = {
        (name, column): value
        for name, (count, total) in (*wards.items(), (None, site_of(wards)))
        for column, value in enumerate((count, total - count, total))
        if profile.is_small(value)
    }
    found = told(shown, site, profile, values)
    assert values
    assert all(high - low >= LEAST_WIDTH for low, high in found.values())


@pytest.mark.parametrize("profile", [ROUNDING, EXACT], ids=lambda profile: profile.name)
def test_shares_and_intervals_follow_from_printed_counts(pages, profile):
    """So they tell nothing that the counts do not; the links hold the same numbers as the tables."""
    page, checked = parsed(pages[profile.name]), 0
    for rows in links_of(page):
        for row in rows:
            share = row.get("Share") or row.get("Value")
            if "Cases" in row and share:
                count, total = int(row["Cases"]), int(row["Of"])
                assert float(share) == count / total
                assert (float(row["Low"]), float(row["High"])) == wilson(count, total)
                checked += 1
    assert checked > 12
    in_links = [row for rows in links_of(page) for row in rows if "Cases" in row]
    in_tables = [
        pair
        for table in page.iter("table")
        if (table.get("id") or "").startswith("table-")
        and "Cases" in [cell.text for cell in table.find("thead/tr")]
        for pair in rows_of(page, table.get("id").removeprefix("table-")).values()
    ]
    assert [(numbers(row["Cases"]), numbers(row["Of"])) for row in in_links] == in_tables


def test_other_hidden_counts_and_other_cases_make_the_same_bytes(tmp_path):
    """Whatever a page may hold, charts and sentences included, it cannot tell these two months apart."""
    one = page_of(edition(tmp_path, results_of(OVERRUN, UNPROTECTED)).findings)
    other = results_of(OVERRUN_TOO, UNPROTECTED_TOO)
    assert one == page_of(edition(tmp_path, other | {"exposure_chains": []}).findings)


def test_no_unit_and_no_patient_leaves(pages, tmp_path):
    own = repr(findings(published(tmp_path, results_of(OVERRUN, UNPROTECTED)), [], [], SITE, MONTH))
    assert CANARY_UNIT in own
    assert CANARY_KEY in own
    whole = "".join(map(unpacked, pages.values()))
    assert '"charts":' in whole
    assert not re.search(f"{CANARY_UNIT}|{CANARY_KEY[:9]}", whole)
    assert not any('id="closer"' in page or 'id="lines"' in page for page in pages.values())


@pytest.mark.parametrize("profile", [ROUNDING, EXACT], ids=lambda profile: profile.name)
def test_the_page_says_what_it_is_and_carries_the_cautions(pages, profile):
    header = " ".join("".join(next(parsed(pages[profile.name]).iter("header")).itertext()).split())
    assert "Shared edition" in header
    assert profile.words in header
    assert all(caution in header for caution in CAUTIONS)


def test_what_is_not_known_to_be_safe_stays_at_home(tmp_path):
    results = published(tmp_path, results_of(OVERRUN, UNPROTECTED))
    found = findings(results, [], [], SITE, MONTH)
    table = Table("new-list", "canary caption", (Column("canary column"),), (("canary cell",),))
    section = Section(
        "new", "canary", "canary", "canary", "canary", ("canary",), ("canary",),
        (Figure("new", "intervals", "canary", "canary", table),), (table,),
    )  # fmt: skip
    more = replace(
        found,
        scope="canary",
        attention=(*found.attention, Attention("Steady", "canary", "canary", "canary", "new")),
        measures=(*found.measures, replace(found.measures[0], key="new", label="canary")),
        sections=(
            *(replace(item, paragraphs=("canary",), caveats=("canary",)) for item in found.sections),
            section,
        ),
        line_months=("canary",),
        lines=(UnitLine("canary", ()),),
    )
    told_of = shared_edition(more, Source(results, SITE, MONTH), ROUNDING, [], is_poor=False)
    assert "canary" not in repr(told_of.findings).replace(SITE, "")


def test_medians_of_few_are_not_shown(tmp_path):
    rows = results_of(OVERRUN, UNPROTECTED)
    medians = [row | {"reprocessed": 7} for row in busy_month()["turnaround_monthly"]]
    few = edition(tmp_path, rows | {"turnaround_monthly": medians})
    enough = edition(tmp_path, rows | {"turnaround_monthly": [row | {"reprocessed": 8} for row in medians]})
    by_key = [{item.key: item for item in one.findings.measures} for one in (few, enough)]
    assert [item["turnaround-median"].now.value for item in by_key] == [None, 4.0]
    assert by_key[0]["turnaround-median"].reading == "Not shown: too few patients or events"


def test_a_month_is_judged_only_where_no_month_is_left_open(tmp_path):
    shown = edition(tmp_path, {"part_overrun_monthly": overruns([(10, 200)] * 12 + [(60, 200)])})
    hidden = edition(tmp_path, {"part_overrun_monthly": overruns([(10, 200)] * 11 + [(3, 200), (60, 200)])})
    one, other = (item.findings.measures for item in (shown, hidden))
    by_key = [
        {measure.key: measure for measure in measures}["overrun_of_due:circuit"] for measures in (one, other)
    ]
    assert [measure.status for measure in by_key] == ["Needs a decision", "Cannot be judged"]
    assert [measure.now.upper is None for measure in by_key] == [False, True]
    assert shown.findings.attention[0].headline.startswith("Circuits past the limit: above")


def test_wards_that_differ_from_an_earlier_shared_edition_stay_at_home(tmp_path):
    first = edition(tmp_path, results_of(OVERRUN, UNPROTECTED))
    late = OVERRUN | {"Alder": (1, 31)}
    second = edition(tmp_path, results_of(late, UNPROTECTED), earlier=[first.left])
    assert first.left.wards.keys() - second.left.wards.keys() == {"overrun_of_due:circuit"}
    page = page_of(second.findings)
    assert 'id="table-wards-overrun-of-due-circuit"' not in page
    assert "Circuits past the limit: not told by ward" in page
    assert 'id="table-wards-unprotected-changeovers"' in page


@pytest.mark.parametrize("profile", [ROUNDING, EXACT], ids=lambda profile: profile.name)
@pytest.mark.parametrize("late", [{"Alder": (1, 31)}, {"Cedar": (4, 49)}, {"Cedar": (1, 47)}])
def test_two_editions_together_tell_no_hidden_cell(tmp_path, profile, late):
    first = edition(tmp_path, results_of(OVERRUN, UNPROTECTED), profile)
    second = edition(tmp_path, results_of(OVERRUN | late, UNPROTECTED), profile, [first.left])
    site, later = (counts_of(item, "months-overrun_of_due-circuit")[MONTH] for item in (first, second))
    wards = counts_of(first, "wards-overrun_of_due-circuit")
    ((low, high),) = told(wards, site, profile, [("Cedar", 0)], later).values()
    assert high - low >= LEAST_WIDTH


def test_exact_counts_of_a_month_leave_once(tmp_path):
    """One case more, told by exact totals, would be the whole of a ward's hidden count."""
    none = {"Alder": (0, 30), "Birch": (0, 25)}
    first = edition(tmp_path, results_of(none, none), EXACT)
    again = edition(tmp_path, results_of(none, none), EXACT, [first.left])
    late = edition(tmp_path, results_of({**none, "Alder": (1, 31)}, none), EXACT, [first.left])
    assert (
        counts_of(first, "wards-unprotected_changeovers")
        == counts_of(again, "wards-unprotected_changeovers")
        == none
    )
    assert counts_of(late, "months-unprotected_changeovers")[MONTH] == (WITHHELD, WITHHELD)
    assert not [table.key for table in every_table(late.findings) if table.key.startswith("wards-")]
    assert counts_of(late, "months-unprotected_changeovers")["2026-09"] == (0, 90)
