"""The page's control charts are those of the published table, cut at the month of the report."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from report_results import MONTH, SITE, changeovers, months_before, overruns, published

from pipeline.findings import findings
from pipeline.findings.control_figures import CHART_WORDS
from pipeline.findings.model import DECIDE, UNKNOWN, SiteFindings
from pipeline.findings.months import month_name
from pipeline.findings.naming import kind_of
from pipeline.findings.wording import shown
from pipeline.measures.published import Published
from pipeline.signals.definitions import MEANING, rule_set_in_words

RISE = [(4, 100), (6, 100)] * 6 + [(7, 100)] * 8 + [(30, 100)]
CHANGE = '[[events]]\nkind = "change"\nwhat = "a new round"\non = 2026-03-01\nmeasures = ["overrun_of_due"]'


def _changeovers(gaps_days: list[int]) -> list[dict]:
    """Return changeovers twice a day, of which one goes amiss after each of these gaps."""
    at, rows = datetime(2025, 1, 2), []
    for gap in gaps_days:
        for step in range(2 * gap + 1):
            at += timedelta(hours=12)
            proof = "no_record" if step == 2 * gap else "disinfected"
            rows.append({"ward": "Alder", "unit_id": "u1", "to_started_at": at, "proof": proof})
    return rows


def _results(folder: Path, text: str = "") -> Published:
    tables = {
        "part_overrun_monthly": [row for ward in ("*", "Alder") for row in overruns(RISE, ward=ward)],
        "changeover_monthly": changeovers([(1, 60)] * 22),
        "changeovers": _changeovers([20, 40] * 10 + [3] * 9),
    }
    return published(folder, tables, text)


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Published:
    return _results(tmp_path_factory.mktemp("signals"))


def _told(results: Published, month: str = MONTH) -> SiteFindings:
    return findings(results, [], [], SITE, month)


def _figures(told: SiteFindings) -> dict[str, list]:
    return {figure.key: figure for section in told.sections for figure in section.figures}


def _later(month: str, months: int) -> str:
    count = int(month[:4]) * 12 + int(month[5:]) - 1 + months
    return f"{count // 12}-{count % 12 + 1:02d}"


@pytest.mark.parametrize(("month", "kinds"), [(MONTH, "pgt"), (months_before(2)[0], "p")])
def test_every_signal_of_the_published_table_is_on_the_page_and_no_other(results, month, kinds):
    told = _told(results, month)
    (listed,) = (table for section in told.sections for table in section.tables if table.key == "signals")
    seen = {(row[0], row[1], row[2], row[3], row[8]) for row in listed.rows}
    wanted = {
        (
            "the site" if row["ward"] == "*" else row["ward"], kind_of(row["measure"]).subject,
            CHART_WORDS[row["chart"]],
            month_name(row["period"]) if len(row["period"]) == 7
            else shown(datetime.fromisoformat(row["period"][:19]), "instant", results.sites[SITE].zone),
            row["signal"].replace("_", " "),
        )
        for row in results.read("control_chart").to_dicts()
        if row["signal"] and _later(month, -11) <= row["period"][:7] <= month
    }  # fmt: skip
    assert seen == wanted
    assert listed.caption.startswith(f"Every signal of the charts, {month_name(_later(month, -11))} to ")
    assert {chart for _, _, chart, _, _ in seen} == {CHART_WORDS[kind] for kind in kinds}


def test_the_sites_figures_mark_the_signals_of_the_published_table(results):
    figures = _figures(_told(results))
    table = results.read("control_chart").filter(ward="*")
    for key, measure, chart in (
        ("overruns-circuit-p", "overrun_of_due:circuit", "p"),
        ("changeovers-g", "unprotected_changeovers", "g"),
        ("changeovers-t", "unprotected_changeovers", "t"),
    ):
        rows = table.filter(measure=measure, chart=chart)
        assert [row[-1] for row in figures[key].table.rows] == [
            (signal or "").replace("_", " ") for signal in rows["signal"]
        ]
        assert [row[-4] for row in figures[key].table.rows] == rows["centre"].to_list()


def test_a_large_pools_chart_of_cases_shows_the_latest_and_says_of_how_many(tmp_path):
    proofs = (["disinfected"] * 8 + ["no_record"]) * 200
    begins = [datetime(2025, 1, 2) + timedelta(hours=8 * number) for number in range(len(proofs))]
    cases = [
        {"ward": "Alder", "unit_id": "u", "to_started_at": at, "proof": proof}
        for at, proof in zip(begins, proofs, strict=True)
    ]
    tables = {"changeover_monthly": changeovers([(10, 90)] * 22), "changeovers": cases}
    results = published(
        tmp_path,
        tables,
        CHANGE.replace("overrun_of_due", "unprotected_changeovers").replace("2026-03", "2025-06"),
    )
    figure = _figures(_told(results))["changeovers-g"]
    of_site = results.read("control_chart").filter(ward="*", chart="g")
    assert of_site.height > 180
    assert figure.subtitle.startswith(
        f"Cases that went well between two that did not, the latest 120 of {of_site.height} cases, January 2025"
    )
    assert [row[1] for row in figure.table.rows] == of_site["value"].to_list()[-120:]
    assert figure.events == ()
    assert _figures(_told(results, "2025-12"))["changeovers-g"].events


def test_a_change_before_the_first_case_is_drawn_where_no_case_is_left_out(tmp_path):
    text = CHANGE.replace("overrun_of_due", "unprotected_changeovers").replace("2026-03-01", "2025-01-10")
    figure = _figures(_told(_results(tmp_path, text)))["changeovers-g"]
    assert figure.events[0][0] < figure.table.rows[0][0]


def test_a_ward_that_signals_this_month_has_its_chart_drawn(results):
    assert (
        _figures(_told(results))["ward-1-p"].title
        == "Alder – circuits past the limit: 30.0% – above its upper limit"
    )


def test_cases_closer_together_are_the_worse_side(results):
    measure = next(item for item in _told(results).measures if item.key == "unprotected_changeovers")
    assert (measure.status, measure.reading) == (DECIDE, "Cases closer together than in the baseline")


def test_what_is_too_thin_has_a_sentence_in_place_of_its_chart(results):
    told = _told(results)
    assert _figures(told)["cover-circuit-chart"].note.startswith(
        "No chart for the site: there are no records"
    )
    measure = next(item for item in told.measures if item.key == "part_cover:circuit")
    assert (measure.status, measure.reading) == (UNKNOWN, "Nothing to measure this month")


@pytest.mark.parametrize("rule_set", ["limits_and_runs", "western_electric", "nelson_1984"])
def test_the_rules_in_force_stand_beside_every_chart(tmp_path, rule_set):
    results = _results(tmp_path, f'signal_rules = "{rule_set}"')
    told = _told(results)
    drawn = [
        figure
        for figure in _figures(told).values()
        if figure.table.columns[-1].name == "Signal" and figure.table.rows
    ]
    assert len(drawn) >= 4
    words = rule_set_in_words(results.sites[SITE])
    assert all(figure.note.endswith(words) for figure in drawn)
    assert told.signals[:2] == (words, MEANING)


def test_a_declared_change_stands_on_its_measures_charts_and_no_others(tmp_path):
    figures = _figures(_told(_results(tmp_path, CHANGE)))
    assert figures["overruns-circuit-p"].events == ((datetime(2026, 3, 1), "a new round"),)
    assert "set anew at “a new round”" in figures["overruns-circuit-p"].note
    assert figures["changeovers-g"].events == ()
    assert figures["changes"].table.rows[0][0] == "a new round: circuits past the limit, the site"
