"""The published table of control charts."""

from __future__ import annotations

from results import day, months, results

from pipeline.signals.control_chart import COLUMNS, control_chart, site_charts
from pipeline.signals.series import site_series

AGREEING = [{"month": month, "pairs": 100, "agrees": 90 + place % 4, "not_assessable": 0}
            for place, month in enumerate(months(14))]  # fmt: skip


def test_without_any_rows_the_table_is_empty_and_has_its_columns():
    table = control_chart(results())
    assert table.height == 0
    assert table.columns == list(COLUMNS)


def test_a_month_is_a_row_with_the_contracts_columns():
    table = control_chart(results(count_check_monthly=AGREEING, as_of="2026-02-28"))
    first = table.row(0, named=True)
    assert table.height == 14
    assert (first["site_id"], first["ward"], first["measure"], first["period"]) == (
        "T",
        "*",
        "count_agreement",
        "2025-01",
    )
    assert (first["value"], first["chart"], first["signal"]) == (0.9, "p", None)


def test_a_month_that_cannot_be_assessed_has_no_row():
    rows = [row | ({"not_assessable": 100} if row["month"] == "2025-03" else {}) for row in AGREEING]
    table = control_chart(results(count_check_monthly=rows, as_of="2026-02-28"))
    assert "2025-03" not in table["period"].to_list()


def test_a_month_between_two_without_any_row_has_no_row():
    rows = [row for row in AGREEING if row["month"] != "2025-03"]
    table = control_chart(results(count_check_monthly=rows, as_of="2026-02-28"))
    assert table.height == 13


def test_rows_after_the_local_month_of_the_run_are_none():
    run = results('time_zone = "Pacific/Auckland"', as_of="2026-01-31T12:00", count_check_monthly=AGREEING)
    assert control_chart(run)["period"].max() == "2026-02"
    run = results('time_zone = "UTC"', as_of="2026-01-31T12:00", count_check_monthly=AGREEING)
    assert control_chart(run)["period"].max() == "2026-01"


def test_a_ward_has_its_own_rows_and_one_that_is_not_known_none():
    wards = [row | {"ward": ward} for ward in ("*", "Alder", None) for row in AGREEING]
    table = control_chart(results(count_check_monthly=wards, as_of="2026-02-28"))
    assert table["ward"].unique().sort().to_list() == ["*", "Alder"]


def test_each_part_and_step_is_a_measure_of_its_own():
    rows = [
        {"month": month, "step": step, "done": 80, "starts_checked": 90}
        for step in ("warm", "name on") for month in months(12)
    ]  # fmt: skip
    table = control_chart(results(setup_monthly=rows, as_of="2025-12-31"))
    assert table["measure"].unique().sort().to_list() == ["setup_steps:name on", "setup_steps:warm"]


def test_what_is_too_thin_is_said_and_not_drawn():
    rows = [row | {"agrees": 100} for row in AGREEING]
    found = results(count_check_monthly=rows, as_of="2026-02-28")
    charts = site_charts(found, "T", site_series(found, "T"))
    assert charts.drawn == ()
    assert [thin.measure for thin in charts.too_thin] == ["count_agreement"]


def test_rare_cases_have_a_chart_of_gaps_in_place_of_months():
    rows = [
        {"month": month, "part": "circuit", "overrun": int(place % 4 < 3), "due": 20}
        for place, month in enumerate(months(12))
    ]
    spans = [
        {"unit_id": "u", "part": "circuit", "decided_at": day(number - 365), "due": True,
         "outcome": "overrun" if number % 30 == 0 else "within_limit"}
        for number in range(0, 360, 2)
    ]  # fmt: skip
    table = control_chart(results(part_overrun_monthly=rows, part_spans=spans, as_of="2025-12-31"))
    assert table["chart"].unique().to_list() == ["g"]
    assert table["value"].unique().to_list() == [14]


def turnaround(number: int, status: str, hours: float | None) -> dict[str, object]:
    return {
        "unit_id": f"u{number}",
        "ended_at": day(number),
        "status": status,
        "turnaround_h": hours,
        "ward": "Alder",
    }


def test_turnaround_counts_stays_of_which_it_is_known_whether_they_kept_the_target():
    rows = [
        turnaround(0, "reprocessed", 24.0),
        turnaround(1, "reprocessed", 24.1),
        turnaround(2, "bypassed", 3.0),
        turnaround(3, "waiting", 23.9),  # cannot be told
        turnaround(4, "waiting", 24.0),
        turnaround(5, "withdrawn", 1.0),  # cannot be told
        turnaround(6, "not_assessable", None),
    ]
    found = {item.ward: item for item in site_series(results(turnarounds=rows, as_of="2026-01-31"), "T")}
    assert (found["*"].counts, found["*"].totals) == ((1.0,), (4.0,))
    assert found["Alder"].totals == (4.0,)


def test_hours_that_only_their_sum_keeps_apart_are_the_same():
    rows = [
        {
            "month": month,
            "part": "circuit",
            "episode_h": 0.1 + 0.2,
            "in_limit_h": 0.3,
            "not_assessable_h": 0.0,
        }
        for month in months(12)
    ]
    found = site_series(results(part_cover_monthly=rows, as_of="2025-12-31"), "T")[0]
    assert found.counts == found.totals


def test_water_of_a_month_that_is_not_covered_is_not_assessable():
    rows = [{"month": "2025-01", "water_hung_ml": None, "therapy_days": 30.0}]
    found = site_series(results(water_monthly=rows, as_of="2025-01-31"), "T")[0]
    assert found.totals == (0.0,)
