"""`dewledger plan`: what it publishes, prints and refuses."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import polars as pl
import pytest
from planning_site import FORMULA, NOW, RULES, ZEROS

from pipeline import run
from pipeline.measures.published import published
from pipeline.planning.need import need_by_month
from pipeline.planning.records import TABLES, site_records
from pipeline.planning.standing import standing_plan
from pipeline.store.layout import open_store

CONTRACT = {
    "projection": "part item_id from_month to_month need_mean need_p10 need_p50 need_p90 packs_p50 packs_p90"
    " cost_p50 cost_p90",
    "projection_backtest": "part method folds mase pinball_loss coverage_80",
    "stock_plan": "item_id part on_hand on_order expiring_unused need_per_day lead_time_days safety_stock reorder_point"
    " order_up_to run_out_p10_on run_out_p50_on order_packs",
    "fleet_plan": "units offered_load shortage_probability",
}


def standing(path: Path) -> dict[str, pl.DataFrame]:
    """The tables of the plan that stands in a store."""
    opened = open_store(path, create=False)
    return standing_plan(opened, published(opened))


def test_every_planning_table_is_published_with_its_columns(store, dewledger):
    assert standing(store) == {}
    assert dewledger("plan", "--store", store).exit_code == 0
    plan = standing(store)
    for name, columns in CONTRACT.items():
        assert plan[name].height, name
        assert {"site_id", *columns.split()} <= set(plan[name].columns), name


def test_json_is_one_object_with_every_table_and_the_caution(store, dewledger):
    found = dewledger("plan", "--store", store, "--months", 3, "--json")
    document = json.loads(found.stdout)
    assert document["schema_version"] == 1
    assert document["as_of"] == "2026-01-01T00:00:00Z"
    assert "no ground to stretch a part's life" in document["cautions"][0]
    assert {row["to_month"] for row in document["tables"]["projection"]} == {"2026-01", "2026-02", "2026-03"}


def test_a_person_sees_orders_the_year_and_plans_side_by_side(store, dewledger):
    found = dewledger("plan", "--store", store, "--set", "parts.circuit.max_days=1", "--set", "demand=+50%")
    assert found.exit_code == 0
    shown = ("need by the rules, 2026-01 to 2026-12", ZEROS, FORMULA, "plans side by side", "all changes")
    told = ("A: parts.circuit.max_days=1", "B: demand=+50%", "no ground to stretch a part's life")
    assert [words for words in shown if words not in found.stdout] == []
    assert [words for words in told if words not in found.stderr] == []


def test_a_plan_beside_it_differs_where_the_rule_counts_and_nowhere_else(store, dewledger):
    dewledger("plan", "--store", store, "--set", "parts.circuit.max_days=1")
    rows = standing(store)["plan_comparison"]
    now, tried = (rows.filter(plan=name) for name in ("as now", "parts.circuit.max_days=1"))
    value = {
        name: dict(one.select("measure", "value").iter_rows())
        for name, one in (("now", now), ("tried", tried))
    }
    assert value["tried"]["circuit by the rules"] > 1.2 * value["now"]["circuit by the rules"]
    for same in ("water_bag by the rules", "units held, turnaround observed"):
        assert value["tried"][same] == value["now"][same]
    assert now["difference"].abs().max() == 0


def test_a_rule_that_the_measures_rest_on_is_measured_anew_and_nothing_of_it_is_kept(store, dewledger):
    before = {path: path.read_bytes() for path in (store / "measures").rglob("*") if path.is_file()}
    assert dewledger("plan", "--store", store, "--set", "min_cycle_min=90").exit_code == 0
    rows = standing(store)["plan_comparison"]
    waiting = rows.filter(measure="units held, turnaround observed", plan="min_cycle_min=90")
    assert waiting["difference"][0] > 0
    assert before == {path: path.read_bytes() for path in (store / "measures").rglob("*") if path.is_file()}
    assert not [path for path in store.iterdir() if path.name.startswith("scratch")]


def test_going_beyond_the_sites_own_limit_prints_a_caution(store, dewledger):
    found = dewledger("plan", "--store", store, "--set", "parts.circuit.max_days=14")
    assert "T: parts.circuit.max_days 14 goes beyond the site's own limit of 7" in found.stderr
    assert "beyond" not in dewledger("plan", "--store", store, "--set", "parts.circuit.max_days=6").stderr


@pytest.mark.parametrize(
    "change", ["items.nothing.price=3", "ward.closed=Nowhere", "parts.cirquit.max_days=3", "x"]
)
def test_a_change_about_nothing_on_record_is_one_line_and_status_2(store, dewledger, change):
    found = dewledger("plan", "--store", store, "--set", change)
    assert found.exit_code == 2
    assert found.stderr.count("\n") == 1
    assert not (store / "planning").exists()


def test_a_plan_of_other_results_does_not_stand(store, dewledger):
    dewledger("plan", "--store", store)
    run.measure(store, "2025-12-01T00:00:00Z", quiet=True)
    assert standing(store) == {}


def test_before_any_measures_there_is_nothing_to_plan(store, dewledger):
    shutil.rmtree(store / "measures")
    assert dewledger("plan", "--store", store).exit_code == 5


def test_a_store_without_stays_items_and_stock_has_nothing_to_plan(tmp_path, dewledger):
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "ward_census.csv").write_text("ward,counted_on,patients\nAlder,2025-03-01,9\n", "utf-8")
    (tmp_path / "site.toml").write_text(RULES, "utf-8")
    run.ingest(tmp_path / "store", [folder], None, tmp_path / "site.toml", None, NOW, quiet=True)
    run.measure(tmp_path / "store", "2025-03-02T00:00:00Z", quiet=True)
    found = dewledger("plan", "--store", tmp_path / "store")
    assert (found.exit_code, "to plan from" in found.stderr) == (5, True)


def test_an_item_whose_price_was_quarantined_is_named_and_the_rest_is_planned(tmp_path, measured, dewledger):
    folder = tmp_path / "in"
    shutil.copytree(measured.with_name("in"), folder)
    items = (folder / "items.csv").read_text("utf-8").replace("268.5", '"268,5"')
    (folder / "items.csv").write_text(items, "utf-8")
    (tmp_path / "site.toml").write_text(RULES, "utf-8")
    run.ingest(tmp_path / "store", [folder], None, tmp_path / "site.toml", None, NOW, quiet=True)
    run.measure(tmp_path / "store", "2026-01-01T00:00:00Z", quiet=True)
    found = dewledger("plan", "--store", tmp_path / "store")
    assert found.exit_code == 0
    assert f"{ZEROS} has stock movements but is not in the list of items" in found.stderr
    plan = standing(tmp_path / "store")
    assert plan["stock_plan"]["item_id"].to_list() == [FORMULA]
    assert set(plan["projection"]["part"]) == {"circuit", "interface", "water_bag"}


def test_the_need_of_the_past_is_that_of_the_measured_stays(measured):
    results = run.measure(measured, "2026-01-01T00:00:00Z", quiet=True)
    tables = {name: results.read(name) for name in TABLES}
    records = site_records("T", results.sites["T"], datetime(2026, 1, 1), tables)
    wanted = results.read("part_need").group_by("part").agg(pl.col("needed").sum())
    found = {part: int(needed.sum()) for part, needed in need_by_month(records, records.rules).items()}
    assert found == dict(wanted.sort("part").iter_rows())


def test_fittings_counted_by_stay_are_those_measured(measured):
    results = run.measure(measured, "2026-01-01T00:00:00Z", quiet=True)
    served = results.read("part_spans").filter(pl.col("outcome") != "unused").group_by("part").len()
    found = (
        results.read("stay_parts").group_by("part").agg(pl.col("fitted").sum()).filter(pl.col("fitted") > 0)
    )
    assert dict(found.sort("part").iter_rows()) == dict(served.sort("part").iter_rows())


def test_the_same_bytes_come_whatever_the_hash_seed_and_the_zone(store):
    digests = set()
    for seed, zone in (("0", "UTC"), ("7", "Asia/Tokyo")):
        shutil.rmtree(store / "planning", ignore_errors=True)
        environment = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "PYTHONPATH": str(Path.cwd())}
        command = [
            sys.executable,
            "-m",
            "pipeline.cli",
            "plan",
            "--store",
            str(store),
            "--to",
            str(store / "out"),
        ]
        subprocess.run([*command, "--set", "demand=+20%"], check=True, env=environment, capture_output=True)
        files = sorted(
            path for folder in ("planning", "out") for path in (store / folder).rglob("*") if path.is_file()
        )
        digests.add(
            hashlib.sha256(b"".join(path.name.encode() + path.read_bytes() for path in files)).hexdigest()
        )
    assert len(digests) == 1


def test_the_plan_that_stands_is_exported_with_the_measures(store, dewledger, tmp_path):
    assert dewledger("plan", "--store", store).exit_code == 0
    assert (
        dewledger("export", "--store", store, "--to", tmp_path / "out", "--format", "parquet").exit_code == 0
    )
    written = {path.stem for path in (tmp_path / "out").iterdir()}
    plan = {name for name, rows in standing(store).items() if rows.height}
    assert plan >= CONTRACT.keys()
    assert written >= plan
    assert pl.read_parquet(tmp_path / "out" / "stock_plan.parquet").equals(standing(store)["stock_plan"])
