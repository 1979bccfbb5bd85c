"""Which files a month's report writes, and how its charts are drawn."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from report_results import MONTH, SITE, changeovers, published

from pipeline.errors import NothingToDo, UsageError
from pipeline.findings.model import Column, Figure, Point, Table
from reports.charts import MOST_ROWS, spec_of
from reports.charts.axes import kept_apart
from reports.render import write_reports
from reports.sparkline import sparkline
from reports.style import COLOURS, MARKS, TEXT
from reports.svg import slim, themed

ROWS = {"changeover_monthly": changeovers([(0, 9)])}


def forms(name: str) -> list[str]:
    return [f"{name}.html", f"{name}.pdf", f"{name}.xlsx"]


def test_one_site_has_page_board_pack_and_workbook_and_no_index(tmp_path):
    paths = write_reports(
        published(tmp_path / "results", ROWS), [], [], MONTH, tmp_path / "to", plan={}, poor_data=[]
    )
    assert [path.name for path in paths] == forms("T_2026-10")
    assert sorted(path.name for path in (tmp_path / "to").iterdir()) == forms("T_2026-10")


def test_several_sites_have_an_index_that_leads_to_each(tmp_path):
    rows = {
        "changeover_monthly": [
            *ROWS["changeover_monthly"],
            ROWS["changeover_monthly"][0] | {"site_id": "a/b"},
        ]
    }
    results = published(tmp_path / "results", rows, sites=(SITE, "a/b", "no data"))
    paths = write_reports(results, [], [], MONTH, tmp_path / "to", plan={}, poor_data=[])
    assert [path.name for path in paths] == [*forms("T_2026-10"), *forms("a%2Fb_2026-10"), "index.html"]
    linked = re.findall('<a href="(.*?)"', paths[-1].read_text())
    assert linked == [*forms("T_2026-10"), *forms("a%252Fb_2026-10")]


def test_a_month_without_data_is_nothing_to_do(tmp_path):
    with pytest.raises(NothingToDo, match="November 2026"):
        write_reports(published(tmp_path, ROWS), [], [], "2026-11", tmp_path / "to", plan={}, poor_data=[])
    assert not (tmp_path / "to").exists()


def test_what_is_no_month_is_wrong_usage(tmp_path):
    with pytest.raises(UsageError):
        write_reports(published(tmp_path, ROWS), [], [], "2026/10", tmp_path / "to", plan={}, poor_data=[])


def test_poor_data_are_said_on_the_page(tmp_path):
    faults = ["T, episodes: 9 of 90 rows of 2026-10 (10 %) are in quarantine; the site allows 1 %."]
    path, *_ = write_reports(
        published(tmp_path, ROWS), [], [], MONTH, tmp_path / "to", plan={}, poor_data=faults
    )
    assert faults[0] in path.read_text()
    assert "although the data fell short" in path.read_text()


def test_too_many_rows_are_not_drawn():
    table = Table(
        "k",
        "",
        (Column("Month", "month"), Column("Therapy days", "number")),
        (("2026-10", 1.0),) * (MOST_ROWS + 1),
    )
    figure = Figure("k", "therapy_days", "", "", table)
    with pytest.raises(ValueError, match="too many to draw"):
        spec_of(figure, None)
    assert spec_of(replace(figure, table=replace(table, rows=table.rows[1:])), None)["datasets"]["rows"]


def test_ids_of_two_drawings_differ():
    assert (
        slim('<g clip-path="url(#clip0)"><clipPath id="clip0"/></g>', "a")
        == '<g clip-path="url(#a-clip0)"><clipPath id="a-clip0"/></g>'
    )


def test_every_colour_has_its_own_light_value():
    assert len({light for light, _ in COLOURS.values()}) == len(COLOURS)
    assert themed(f'<g fill="{COLOURS["ink"][0]}"/>') == '<g fill="var(--ink)"/>'


def test_labels_keep_their_order_and_their_distance():
    assert kept_apart([2.0, 1.0, 1.1], 0.5) == [2.0, 1.0, 1.5]


def test_a_sparkline_is_broken_where_a_month_has_no_value():
    points = [Point("a", 1.0), Point("b", None), Point("c", 2.0), Point("d", 3.0, signal="beyond_limits")]
    drawn = sparkline(points)
    assert drawn.count('class="line"') == 2
    assert drawn.count('class="signal"') == 1
    assert sparkline([Point("a", None)]) == ""


def _luminance(colour: str) -> float:
    # Relative luminance as WCAG 2.2 defines it.
    shares = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("names", "ground", "least"), [(TEXT, "paper", 4.5), (TEXT, "panel", 4.5), (MARKS, "paper", 3.0)]
)
def test_text_and_marks_stand_out(theme, names, ground, least):
    below = _luminance(COLOURS[ground][theme])
    for name in names:
        above = _luminance(COLOURS[name][theme])
        ratio = (max(above, below) + 0.05) / (min(above, below) + 0.05)
        assert ratio >= least, name
