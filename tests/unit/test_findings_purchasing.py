"""The section for purchasing says what the site's own standing plan says, and plainly that there is none."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import polars as pl
import pytest
from markupsafe import escape
from report_results import MONTH, SITE, busy_month, page_of, published

from pipeline.findings import findings
from pipeline.findings.cautions import PLANNING
from pipeline.findings.model import LOOK, PURCHASING, Figure, SiteFindings

FIRST = date(2026, 10, 3)


def table(*rows: dict[str, Any]) -> pl.DataFrame:
    """Rows of one planning table; those that name no site are of the one reported."""
    return pl.DataFrame([{"site_id": SITE} | row for row in rows], infer_schema_length=None)


def need(first: str, last: str, *counts: float, site: str = SITE) -> dict[str, Any]:
    levels = dict(zip(("need_p10", "need_p50", "need_p90"), counts, strict=True))
    return {
        "site_id": site,
        "part": "circuit",
        "item_id": None,
        "from_month": first,
        "to_month": last,
    } | levels


def tried(method: str, *, chosen: bool, folds: int = 5) -> dict[str, Any]:
    score = {"mase": 0.8, "pinball_loss": 3.0, "coverage_80": 0.83}
    score = score if folds else dict.fromkeys(score)
    return {"part": "circuit", "method": method, "folds": folds, "chosen": chosen} | score


def item(name: str, packs: int | None, **more: Any) -> dict[str, Any]:
    return {
        "item_id": name, "part": "circuit", "on_hand": 10.0, "on_order": 0.0, "need_per_day": 1.5,
        "lead_time_days": 9.0, "reorder_point": 20.0, "order_up_to": 60.0, "order_packs": packs,
        "run_out_p10_on": date(2026, 11, 9), "run_out_p50_on": date(2026, 11, 20), "expiring_unused": 0.0,
    } | more  # fmt: skip


def week(number: int, pieces: float, low: float | None = None, high: float | None = None) -> dict[str, Any]:
    on = FIRST + timedelta(weeks=number)
    return {
        "item_id": "CIR-1", "part": "circuit", "on": on, "pieces": pieces, "pieces_p10": low, "pieces_p90": high,
        "reorder_point": 20.0,
    }  # fmt: skip


def fleet(units: int, turnaround: str, shortage: float) -> dict[str, Any]:
    return {
        "month": "2026-03", "units": units, "turnaround": turnaround, "shortage_probability": shortage,
        "in_service": units == 3,
    }  # fmt: skip


PLAN = {
    "projection": table(
        need("2026-11", "2026-11", 40, 55, 70),
        need("2026-12", "2026-12", 42, 60, 81),
        need("2026-11", "2026-12", 90, 115, 140),
        need("2026-11", "2026-11", 1, 2, 3, site="OTHER"),
    ),
    "projection_backtest": table(tried("mean_12_months", chosen=False), tried("seasonal_naive", chosen=True)),
    "stock_plan": table(item("CIR-1", 4), item("CIR-2", 0), item("CIR-3", 1), item("CIR-4", None)),
    "stock_line": table(
        week(0, 30.0), week(1, 12.0), week(2, 0.0, 0.0, 11.0), week(3, 0.0, 0.0, 0.0), week(4, 0.0, 0.0, 0.0)
    ),
    "order_budget": table(
        {"item_id": "CIR-1", "part": "circuit", "month": "2026-11", "orders": 1, "cost": 400.0},
        {"item_id": "CIR-3", "part": "circuit", "month": "2026-11", "orders": 1, "cost": 100.0},
        {"item_id": "CIR-1", "part": "circuit", "month": "2026-12", "orders": 2, "cost": 800.0},
    ),
    "fleet_plan": table(*(fleet(units, kind, share) for kind in ("observed", "target")
                          for units, share in ((2, 0.3), (3, 0.1), (4, 0.02)))),
    "plan_findings": table({"message": "CIR-9 has no price."}),
    "plan_notes": table({"note_no": 1, "topic": "need", "note": "A stay to come is like those that were."}),
}  # fmt: skip


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> SiteFindings:
    results = published(tmp_path_factory.mktemp("planned"), busy_month())
    return findings(results, [], [], SITE, MONTH, PLAN)


def figure(told: SiteFindings, key: str) -> Figure:
    (section,) = (section for section in told.sections if section.key == "plan")
    return next(figure for figure in section.figures if figure.key == key)


def test_without_a_plan_a_sentence_says_how_to_make_one(tmp_path):
    told = findings(published(tmp_path, busy_month()), [], [], SITE, MONTH)
    (section,) = (section for section in told.sections if section.key == "plan")
    assert section.paragraphs[0].startswith("No plan stands for these results.")
    assert not section.figures
    assert not section.tables


def test_the_caution_of_planning_stands_above_the_plan(told):
    (section,) = (section for section in told.sections if section.key == "plan")
    assert section.paragraphs == (PLANNING,)
    assert str(escape(PLANNING)) in page_of(told)


def test_need_to_come_is_that_of_the_site_with_its_interval_and_the_year_in_the_title(told):
    fan = figure(told, "fan-circuit")
    assert fan.title == "Circuit: 115 expected to be needed, 90 to 140"
    assert [row for row in fan.table.rows if row[4] is not None] == [
        ("2026-11", None, 40, 55, 70),
        ("2026-12", None, 42, 60, 81),
    ]
    assert fan.table.rows[-3][:2] == (MONTH, busy_month()["part_use_monthly"][0]["needed"])


def test_the_back_test_of_the_method_taken_stands_beside(told):
    assert figure(told, "fan-circuit").note == (
        "5 back-tests of seasonal naive: error 0.80 times the usual change between months (MASE), "
        "83% of months inside the band meant for 80%."
    )


def test_a_history_too_short_for_a_back_test_is_said(tmp_path):
    short = PLAN | {"projection_backtest": table(tried("mean_3_months", chosen=True, folds=0))}
    told = findings(published(tmp_path, busy_month()), [], [], SITE, MONTH, short)
    assert figure(told, "fan-circuit").note == "The history is too short for a back-test."


def test_a_line_of_stock_ends_where_nine_futures_in_ten_have_nothing_left_and_marks_the_level_to_order_at(
    told,
):
    line = figure(told, "stock-1")
    assert line.title == "CIR-1: order 4 packs"
    assert [row[0] for row in line.table.rows] == ["2026-10-03", "2026-10-10", "2026-10-17", "2026-10-24"]
    assert {row[4] for row in line.table.rows} == {20.0}
    assert "out of stock by 9 Nov 2026" in line.note


def test_money_is_summed_over_items_by_month(told):
    assert figure(told, "budget").table.rows == (("2026-11", 2, 500.0), ("2026-12", 2, 800.0))
    assert figure(told, "budget").title.startswith("1,300 ")


def test_shortage_is_drawn_where_it_is_not_certain_with_the_fleet_marked(told):
    shortage = figure(told, "shortage")
    assert shortage.table.rows == ((3, 0.1, 0.1, "in service"), (4, 0.02, 0.02, ""))
    assert shortage.title == "3 units in service: 10.0% of arrivals find none in the busiest month"


def test_orders_due_and_contradictions_are_worth_a_look_of_the_buyer(told):
    mine = [item for item in told.attention if item.section == "plan"]
    assert [(item.status, item.headline, item.reader) for item in mine] == [
        (LOOK, "2 items to order now", PURCHASING),
        (LOOK, "1 matter in the records that planning rests on", PURCHASING),
    ]
    assert "CIR-1 (4 packs) and CIR-3 (1 pack)" in mine[0].evidence
    assert PLANNING in mine[0].evidence
    assert "CIR-9 has no price." in mine[1].evidence


def test_nothing_is_asked_where_no_order_is_due(tmp_path):
    calm = {"stock_plan": table(item("CIR-2", 0), item("CIR-4", None))}
    told = findings(published(tmp_path, busy_month()), [], [], SITE, MONTH, calm)
    assert [item for item in told.attention if item.section == "plan"] == []


def test_every_figure_of_a_plan_is_drawn(told):
    page = page_of(told)
    for key in ("fan-circuit", "stock-1", "budget", "shortage"):
        _, _, rest = page.partition(f'id="{key}"')
        assert "<svg" in rest.partition("</figure>")[0]


def test_the_plan_of_another_site_is_not_told(tmp_path):
    others = {name: rows.with_columns(site_id=pl.lit("OTHER")) for name, rows in PLAN.items()}
    told = findings(published(tmp_path, busy_month()), [], [], SITE, MONTH, others)
    section = next(item for item in told.sections if item.key == "plan")
    assert (section.figures, section.tables) == ((), ())
    assert [item for item in told.attention if item.section == "plan"] == []
