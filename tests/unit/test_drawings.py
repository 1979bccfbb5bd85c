"""What is ordered of the charts, and how they look in their two places."""

from __future__ import annotations

import pytest
from report_results import MONTH, SITE, busy_month, drawn_of, published

from pipeline.findings import findings
from reports.board_pack_figures import PRINT_WIDTHS, pack_figures
from reports.charts.axes import name_axis


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    return findings(published(tmp_path_factory.mktemp("busy"), busy_month()), [], [], SITE, MONTH)


def test_a_chart_has_the_pages_colours_there_and_stands_on_its_own_on_paper(told):
    drawings = drawn_of(told)
    figures = [figure for chosen in pack_figures(told).values() for figure in chosen]
    assert len(figures) > 10
    for figure in figures:
        assert "var(--" in drawings.on_page(figure.key)
        paper = drawings.on_paper(figure.key)
        assert "var(--" not in paper
        assert 'font-family="Dewledger Sans"' in paper
        assert f'width="{PRINT_WIDTHS[figure.size]}"' in paper


def test_sections_are_told_of_as_they_are_made_and_in_the_order_of_the_page(tmp_path):
    made = []
    told = findings(published(tmp_path, busy_month()), [], [], SITE, MONTH, as_made=made.append)
    assert tuple(made) == told.sections


@pytest.mark.parametrize(("name", "limit"), [("A" * 18, 0), ("A" * 19, 150)])
def test_only_names_that_may_be_too_long_are_cut(name, limit):
    assert name_axis("Ward", ["Alder", name]).to_dict()["axis"]["labelLimit"] == limit
