"""The invented hospitals: the same bytes for a seed, canonical files, a plausible course, good practice."""

from __future__ import annotations

import csv
import hashlib
import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from pipeline.errors import UsageError
from pipeline.records import INSTANT, TABLES
from pipeline.site_rules import load_site_rules
from synthetic_logs.cycles import count_at
from synthetic_logs.generate import clean_tables, write_hospitals
from synthetic_logs.parts import water_curves
from synthetic_logs.scenario import (
    BAG_ML,
    DAY,
    HOUR,
    NORTH,
    PART_LIMIT_S,
    SITES,
    SOUTH,
    Scenario,
    Site,
    fleet,
)
from synthetic_logs.stays import Course, simulate
from synthetic_logs.visits import scene_of

SMALL = {"months": 2, "units": 9, "seed": 7, "first_month": "2025-12"}


@pytest.fixture(scope="module")
def hospitals(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hospitals")
    write_hospitals(folder, **SMALL)
    return folder


@pytest.fixture(scope="module", params=SITES, ids=lambda site: site.site_id)
def clean(request: pytest.FixtureRequest) -> tuple[Scenario, Site, Course, dict[str, pl.DataFrame]]:
    scenario, site = Scenario(months=6, units=16, seed=3), request.param
    units = fleet(scenario, site)
    course = simulate(scenario, site, units)
    return scenario, site, course, clean_tables(scenario, site, units, course)


def _hashes(folder: Path) -> dict[str, str]:
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_same_seed_gives_the_same_bytes(hospitals: Path, tmp_path: Path) -> None:
    write_hospitals(tmp_path, **SMALL)
    assert _hashes(tmp_path) == _hashes(hospitals)


def test_another_seed_gives_other_episodes(hospitals: Path, tmp_path: Path) -> None:
    write_hospitals(tmp_path, **{**SMALL, "seed": 8})
    name = "TARN-N/episodes_2025-12.csv"
    assert _hashes(tmp_path)[name] != _hashes(hospitals)[name]


def test_finer_samples_shift_no_other_table(hospitals: Path, tmp_path: Path) -> None:
    write_hospitals(tmp_path, **{**SMALL, "sample_minutes": 1})
    fine, coarse = _hashes(tmp_path), _hashes(hospitals)
    apart = {Path(name).name.rsplit("_", 1)[0] for name in fine if fine[name] != coarse[name]}
    assert apart == {"usage_samples", "truth.json"}


def test_one_minute_samples_are_five_times_as_many(hospitals: Path, tmp_path: Path) -> None:
    write_hospitals(tmp_path, **{**SMALL, "sample_minutes": 1})
    name = "TARN-N/usage_samples_2025-12.csv"
    fine, coarse = (len((folder / name).read_bytes().splitlines()) for folder in (tmp_path, hospitals))
    assert fine / coarse == pytest.approx(5, rel=0.02)


@pytest.mark.parametrize(
    "wrong",
    [{"months": 0}, {"units": 1}, {"sample_minutes": 2}, {"seed": -1}, {"first_month": "2025-13"}],
    ids=lambda wrong: next(iter(wrong)),
)
def test_what_cannot_be_simulated_is_refused(wrong: dict[str, int], tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=next(iter(wrong))):
        write_hospitals(tmp_path, **{**SMALL, **wrong})


def test_a_month_of_two_units_can_be_written(tmp_path: Path) -> None:
    write_hospitals(tmp_path, months=1, units=2)
    assert _rows(tmp_path / "TARN-S" / "units.csv")


def test_every_column_is_canonical_and_in_the_canonical_order(hospitals: Path) -> None:
    for path in hospitals.glob("*/*.csv"):
        table = TABLES[re.sub(r"(_\d{4}-\d{2})?\.csv$", "", path.name)]
        columns = path.read_text("utf-8").split("\n", 1)[0].split(",")
        stated = [name for name in table.names if name in columns]
        assert [name for name in columns if name != "site_id"] == stated, path.name
        assert {column.name for column in table.columns if column.required} <= set(columns), path.name


def test_only_north_states_its_site_in_the_files(hospitals: Path) -> None:
    assert all("site_id" in _rows(path)[0] for path in hospitals.glob("TARN-N/*.csv"))
    assert not any("site_id" in _rows(path)[0] for path in hospitals.glob("TARN-S/*.csv"))


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.site_id)
def test_the_rules_can_be_read(site: Site, hospitals: Path) -> None:
    rules = load_site_rules(hospitals / site.site_id / "site.toml")
    found = (rules.site_id, rules.time_zone, rules.max_storage_days)
    assert found == (site.site_id, "Europe/Dublin", site.max_storage_days)


def test_events_lie_in_the_local_month_of_their_file(hospitals: Path) -> None:
    for path in hospitals.glob("*/episodes_*.csv"):
        for row in _rows(path):
            started_at = datetime.fromisoformat(row["started_at"]).astimezone(ZoneInfo("Europe/Dublin"))
            assert f"{started_at:%Y-%m}" in path.name


def test_set_up_checks_are_the_only_times_without_an_offset(hospitals: Path) -> None:
    naive = set()
    for path in hospitals.glob("TARN-N/*.csv"):
        table = TABLES[re.sub(r"(_\d{4}-\d{2})?\.csv$", "", path.name)]
        instants = [column.name for column in table.columns if column.kind == INSTANT]
        row = _rows(path)[0]
        naive |= {table.name for name in instants if row.get(name) and not row[name].endswith("Z")}
    assert naive == {"setup_checks"}


def test_set_up_checks_are_in_summer_time_in_summer(tmp_path: Path) -> None:
    write_hospitals(tmp_path, months=1, units=4, first_month="2025-07")
    path = "2025-07.csv"
    starts = {
        row["patient_ref"]: datetime.fromisoformat(row["started_at"])
        for row in _rows(tmp_path / "TARN-N" / f"episodes_{path}")
    }
    checks = _rows(tmp_path / "TARN-N" / f"setup_checks_{path}")
    for row in checks:
        local = datetime.fromisoformat(row["checked_at"]).replace(tzinfo=UTC) - timedelta(hours=1)
        assert timedelta(0) < starts[row["patient_ref"]] - local < timedelta(minutes=50)


def test_patient_references_are_plainly_invented(hospitals: Path) -> None:
    references = {row["patient_ref"] for path in hospitals.glob("*/episodes_*") for row in _rows(path)}
    assert all(re.fullmatch(r"T-[NS]-\d{6}", reference) for reference in references)


def test_samples_are_as_a_unit_would_log_them(hospitals: Path) -> None:
    good = [
        row
        for path in hospitals.glob("*/usage_samples_2026-01.csv")
        for row in _rows(path)
        if row["flow_l_min"] not in ("3O.5", "250")
    ]
    in_use = [row for row in good if row["phase"] == "in_use"]
    warm = [float(row["dew_point_c"]) for row in in_use]
    assert sum(36.5 < celsius < 37.5 for celsius in warm) / len(warm) > 0.98
    assert all(13 <= float(row["flow_l_min"]) <= 60 for row in in_use)
    assert all(21 <= int(row["oxygen_pct"]) <= 100 for row in in_use)
    assert {row["phase"] for row in good} == {"off", "heating", "standby", "in_use", "reprocessing"}


def test_samples_of_a_unit_come_in_order_of_time(hospitals: Path) -> None:
    for path in hospitals.glob("*/usage_samples_2025-12.csv"):
        samples = pl.read_csv(path, infer_schema=False).filter(pl.col("flow_l_min").str.contains(r"^[\d.]+$"))
        good = samples.filter(pl.col("flow_l_min") != "250")
        later = good.select(pl.col("sampled_at") > pl.col("sampled_at").shift().over("unit_id"))
        assert later.to_series().fill_null(True).all()


def test_winter_has_the_most_arrivals() -> None:
    scenario = Scenario(months=12, units=60)
    legs = simulate(scenario, NORTH, fleet(scenario, NORTH)).legs
    months = [scenario.month_of(leg.started_at)[5:] for leg in legs]
    winter, summer = (
        sum(month in wanted for month in months) for wanted in (("12", "01", "02"), ("06", "07", "08"))
    )
    assert winter > 1.4 * summer


def test_stays_have_a_tail_beyond_three_weeks() -> None:
    scenario = Scenario(months=12, units=60)
    legs = simulate(scenario, NORTH, fleet(scenario, NORTH)).legs
    days = sorted((leg.ended_at - leg.started_at) / DAY for leg in legs)
    assert 2 < days[len(days) // 2] < 5
    assert 0.01 < sum(length > 21 for length in days) / len(days) < 0.06


Clean = tuple[Scenario, Site, Course, dict[str, pl.DataFrame]]


def test_a_cycle_has_passed_between_any_two_stays(clean: Clean) -> None:
    scenario, site, course, _ = clean
    for visit in scene_of(scenario, site, fleet(scenario, site), course).visits:
        if visit.after:
            assert visit.cycles[-1].outcome == "passed"
            assert visit.leg.ended_at < visit.cycles[0].started_at
            assert visit.cycles[-1].ended_at < visit.after.started_at - 100 * 60


def test_some_cycles_take_a_second_try_and_only_those_that_pass_are_counted(clean: Clean) -> None:
    _, _, course, tables = clean
    cycles = tables["disinfections"].sort("unit_id", "started_at")
    counted = cycles.with_columns(count_at(cycles, "ended_at", tables).alias("count"))
    steps = counted.with_columns(pl.col("count").diff().over("unit_id").alias("rise")).drop_nulls("rise")
    assert dict(steps.group_by("outcome").agg(pl.col("rise").unique()).iter_rows())["passed"] == [1]
    assert set(steps.filter(pl.col("outcome") != "passed")["rise"]) == {0}
    assert {cycle.outcome for cycle in course.cycles} >= {"passed", "failed"}


def test_no_unit_is_stored_longer_than_its_site_allows(clean: Clean) -> None:
    scenario, site, course, _ = clean
    limit = (site.max_storage_days or 10_000) * DAY
    visits = scene_of(scenario, site, fleet(scenario, site), course).visits
    stored = [visit.after.started_at - visit.cycles[-1].ended_at for visit in visits if visit.after]
    assert max(stored) <= limit


@pytest.mark.parametrize("part", ["circuit", "water_bag"])
def test_parts_of_a_unit_are_new_for_each_patient(part: str, clean: Clean) -> None:
    scenario, _, course, tables = clean
    fitted = tables["part_changes"].filter(pl.col("part") == part)
    first = dict(fitted.group_by("leg").agg(pl.col("fitted_at").min()).iter_rows())
    started = {n: leg.started_at for n, leg in enumerate(course.legs) if leg.started_at < scenario.end - DAY}
    assert all(-HOUR < first[number] - at <= 90 * 60 for number, at in started.items())


@pytest.mark.parametrize(("part", "goes_with"), [("circuit", "unit_id"), ("interface", "stay")])
def test_parts_are_changed_within_seven_days(part: str, goes_with: str, clean: Clean) -> None:
    scenario, _, course, tables = clean
    together: dict[tuple[int, str], list[int]] = {}
    for number, leg in enumerate(course.legs):
        together.setdefault((leg.stay, str(getattr(leg, goes_with))), []).append(number)
    fitted = tables["part_changes"].filter(pl.col("part") == part)
    for numbers in together.values():
        ended_at = max(course.legs[number].ended_at for number in numbers)
        times = [*sorted(fitted.filter(pl.col("leg").is_in(numbers))["fitted_at"]), ended_at]
        in_place = [after - before for before, after in pairwise(times)]
        assert ended_at >= scenario.end or max(in_place) <= PART_LIMIT_S


def test_no_bag_runs_dry(clean: Clean) -> None:
    scenario, _, course, tables = clean
    curves = water_curves(tables["phases"])
    for (number, leg), (bounds, used) in zip(enumerate(course.legs), curves, strict=True):
        bags = tables["part_changes"].filter(pl.col("leg") == number, pl.col("part") == "water_bag")[
            "fitted_at"
        ]
        times = [*sorted(bags), min(leg.ended_at, scenario.end)]
        assert max(np.diff(np.interp(times, bounds, used)), default=0) <= 0.98 * BAG_ML


def test_an_interface_goes_along_when_its_patient_moves(clean: Clean) -> None:
    _, _, course, tables = clean
    stays: dict[int, list[int]] = {}
    for number, leg in enumerate(course.legs):
        stays.setdefault(leg.stay, []).append(number)
    moved = [numbers for numbers in stays.values() if len(numbers) > 1]
    assert moved
    interfaces = tables["part_changes"].filter(
        pl.col("part") == "interface", pl.col("reason") == "new_patient"
    )
    assert not interfaces.filter(pl.col("leg").is_in([numbers[1] for numbers in moved])).height


def test_counts_on_hand_follow_from_the_moves(clean: Clean) -> None:
    moves = clean[3]["stock_moves"]
    for (_,), rows in moves.group_by("item_id"):
        on_hand = None
        for kind, quantity in rows.select("kind", "quantity").iter_rows():
            if kind == "count":
                assert on_hand in (None, quantity)
                on_hand = quantity
            else:
                on_hand += {"receipt": quantity, "issue": -quantity, "ordered": 0}[kind]
            assert on_hand >= 0


def test_about_as_many_pieces_are_issued_as_fitted(clean: Clean) -> None:
    tables = clean[3]
    issued = tables["stock_moves"].filter(pl.col("kind") == "issue")["quantity"].sum()
    assert 0.9 < issued / tables["part_changes"].height < 1.1


def test_only_south_limits_storage() -> None:
    assert (NORTH.max_storage_days, SOUTH.max_storage_days) == (None, 14)
