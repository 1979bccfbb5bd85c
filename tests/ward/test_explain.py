"""An explanation says what a measure means and leads from its figure to the rows of the exports."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from click.testing import Result

from pipeline import run
from pipeline.cases import TRACES, Evidence
from pipeline.errors import NothingToDo, UsageError
from pipeline.explaining import definition, explained, limits_in_force
from pipeline.measures.published import published
from pipeline.measures.sql_files import load_models
from pipeline.site_rules import parse_site_rules
from pipeline.store.layout import open_store

Run = Callable[..., Result]
MEASURES = [model.name for model in load_models() if model.layer == "measures"]
TRACE_MODELS = load_models(TRACES)


@pytest.fixture(scope="module")
def evidence(measured_once: Path) -> Callable[..., Evidence]:
    """The evidence of one measure of a month."""

    def find(
        measure: str, month: str = "2026-05", site: str | None = None, ward: str | None = None
    ) -> Evidence:
        found = run.explain(measured_once / "store", measure, month, site, ward)[2]
        assert found is not None
        return found

    return find


@pytest.fixture
def figures(measured_once: Path) -> Callable[[str], dict[str, Any]]:
    """The published figures of the whole site in May, summed over parts and steps."""

    def read(measure: str) -> dict[str, Any]:
        rows = published(open_store(measured_once / "store", create=False)).read(measure)
        return rows.filter(month="2026-05", ward="*").select(pl.selectors.numeric().sum()).row(0, named=True)

    return read


def test_every_measure_has_a_trace_and_every_trace_a_measure():
    assert sorted(model.name for model in TRACE_MODELS if model.layer == "traces") == sorted(MEASURES)


@pytest.mark.parametrize("model", TRACE_MODELS, ids=lambda model: model.table)
def test_a_traces_header_names_exactly_the_tables_that_it_reads(model):
    written = duckdb.execute("select json_serialize_sql(cast(? as varchar))", [model.sql]).fetchall()[0][0]

    def tables(node: Any) -> set[str]:
        found = set()
        if isinstance(node, dict):
            if node.get("type") == "BASE_TABLE" and node["schema_name"]:
                found.add(f"{node['schema_name']}.{node['table_name']}")
            node = list(node.values())
        return found.union(*map(tables, node)) if isinstance(node, list) else found

    assert tables(json.loads(written)) == model.reads


@pytest.mark.parametrize("name", [name for name, _ in explained()])
def test_everything_listed_has_a_definition(name: str):
    defined = definition(name)
    assert defined.title
    assert "grain" in dict(defined.words)
    assert defined.sql.startswith(("with", "select"))


@pytest.mark.parametrize(
    ("measure", "numerator", "denominator"),
    [
        ("changeover_monthly", "unprotected", "changeovers"),
        ("turnaround_monthly", "reprocessed", "ended"),
        ("fresh_part_monthly", "fresh", "starts"),
        ("part_overrun_monthly", "overrun", "decided"),
        ("part_cover_monthly", "in_limit_h", "episode_h"),
        ("setup_monthly", "done", "starts_checked"),
        ("part_use_monthly", "issued", "fitted"),
    ],
)
def test_the_cases_add_up_to_the_published_figure(evidence, figures, measure, numerator, denominator):
    found, told = evidence(measure), figures(measure)
    left_out = {"turnaround_monthly": "not_assessable", "part_cover_monthly": "not_assessable_h"}.get(measure)
    expected = told[denominator] - (told[left_out] if left_out else 0)
    assert sum(item.numerator for item in found.sums) == pytest.approx(told[numerator] or 0)
    assert sum(item.denominator for item in found.sums) == pytest.approx(expected)
    assert found.figures


@pytest.mark.parametrize("measure", MEASURES)
def test_every_measure_leads_to_its_cases_or_says_that_there_is_nothing(evidence, measure):
    if measure in ("count_check_monthly", "powered_run_monthly"):  # the small ward counts and logs nothing
        with pytest.raises(NothingToDo):
            evidence(measure)
    else:
        found = evidence(measure)
        assert found.cases or found.figures


def test_a_case_names_the_rows_of_its_stays_and_of_the_cycle_between(evidence):
    cases = evidence("changeover_monthly", "2026-04").cases
    assert [(case.unit_id, case.numerator, case.why) for case in cases] == [("u1", 0, "disinfected")]
    assert [(source.file, source.row) for source in cases[0].sources] == [
        ("episodes.csv", 2),
        ("disinfections.csv", 3),
        ("episodes.csv", 3),
    ]


def test_a_fitting_leads_to_its_part_change(evidence):
    cases = {case.sources[0].row: case.why for case in evidence("part_overrun_monthly", "2026-04").cases}
    assert cases == {2: "within_limit", 3: "within_limit"}


def test_numerators_come_first_and_what_is_left_out_is_counted_by_reason(evidence):
    found = evidence("changeover_monthly")
    assert [case.why for case in found.cases] == ["no_record", "disinfected"]
    unchecked = evidence("setup_monthly")
    assert unchecked.sums[0].excluded == {"never_checked": 2}
    assert unchecked.sums[0].cases == 3


def test_one_ward_can_be_asked_for_by_any_case(evidence):
    assert {case.ward for case in evidence("turnaround_monthly", ward="BIRCH").cases} == {"Birch"}
    with pytest.raises(NothingToDo, match="no row in 2026-05"):
        evidence("turnaround_monthly", ward="Elm")


def test_the_limits_are_those_that_the_sql_depends_on():
    rules = {
        "T": parse_site_rules('time_zone = "UTC"\nturnaround_target_h = 6\n[parts.circuit]\nmax_days = 3')
    }
    turnaround = {limit.rule: limit.value for limit in limits_in_force("turnaround_monthly", rules)}
    assert turnaround["turnaround_target_h"] == "6"
    assert turnaround["min_cycle_min"] == "unset"
    assert not {"max_days", "bag_volume_ml", "census_time"} & turnaround.keys()
    overrun = {
        (limit.part, limit.rule): limit.value for limit in limits_in_force("part_overrun_monthly", rules)
    }
    assert overrun["circuit", "max_days"] == "3"
    assert overrun["interface", "follows"] == "patient"


def test_an_unknown_measure_is_met_with_the_one_that_was_meant(dewledger: Run):
    result = dewledger("explain", "changover_monthly")
    assert (result.exit_code, "Did you mean 'changeover_monthly'?" in result.stderr) == (2, True)
    with pytest.raises(UsageError, match="--list"):
        definition("zzz")


def test_without_a_month_only_the_definition_is_told(dewledger: Run, measured_once: Path):
    told = json.loads(dewledger("explain", "turnaround_monthly", "--json").stdout)
    assert told["definition"]["title"] == "Turnaround"
    assert (told["limits"], told["evidence"]) == ([], None)
    result = dewledger("explain", "turnaround_monthly", "--store", measured_once / "store")
    assert "turnaround_target_h" in result.stdout
    assert "2026-05" not in result.stdout


def test_the_terminal_shows_words_limits_cases_and_sql(dewledger: Run, measured_once: Path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    words = ("explain", "changeover_monthly", "--store", measured_once / "store", "--month", "2026-05")
    shown = dewledger(*words, "--limit", "1").stdout
    assert "question: How often does a unit reach its next patient" in shown
    assert "TARN: 2 cases; numerator 1, denominator 2; left out: none" in shown
    assert "episodes.csv:4, episodes.csv:5" in shown
    assert shown.rstrip().endswith("select * from changeover_monthly")


def test_explaining_leaves_the_store_as_it_was(dewledger: Run, ward: Path):
    store = ward / "store"
    before = {path: path.read_bytes() for path in store.rglob("*") if path.is_file()}
    dewledger("explain", "changeover_monthly", "--store", store, "--month", "2026-05")
    assert {path: path.read_bytes() for path in store.rglob("*") if path.is_file()} == before


def test_a_list_and_a_missing_name(dewledger: Run):
    assert "Unprotected changeovers" in dewledger("explain", "--list").stdout
    assert dewledger("explain").exit_code == 2
    assert dewledger("explain", "turnaround_monthly", "--month", "2026-05").exit_code == 2
