"""Every planted slip can be found in the files, by a plain recount that shares nothing with the program."""

from __future__ import annotations

import csv
import hashlib
import json
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from synthetic_logs.generate import write_hospitals
from synthetic_logs.part_slips import late_share
from synthetic_logs.planting import KINDS
from synthetic_logs.scenario import NORTH, Scenario, fleet
from synthetic_logs.stays import simulate
from synthetic_logs.visits import scene_of

Row = dict[str, str]
Found = list[tuple[str, dict[str, Any]]]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("slips")
    write_hospitals(made, months=6, units=30, seed=1, first_month="2025-12")
    return made


@pytest.fixture(scope="module")
def truth(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "truth.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def rows(folder: Path) -> dict[tuple[str, str], list[Row]]:
    tables: dict[tuple[str, str], list[Row]] = {}
    for path in sorted(folder.glob("*/*_20*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            tables.setdefault((path.parent.name, path.stem[:-8]), []).extend(csv.DictReader(file))
    return tables


def _planted(truth: dict[str, Any], slip: str, table: str) -> Found:
    """Return (site, where | values) for each expectation of a kind of slip in a table; there must be some."""
    found = [
        (site, {**expect["where"], **expect["values"], "patient_ref": planted.get("patient_ref")})
        for site, facts in truth["sites"].items()
        for planted in facts["slips"]
        if planted["slip"] == slip
        for expect in planted["expect"]
        if expect["table"] == table
    ]
    assert found, f"no {slip} was planted"
    return found


def _of_unit(rows: list[Row], unit_id: str, time: str, after: str, before: str) -> list[Row]:
    """Return a unit's rows from one instant to another, in order; the text of instants sorts as they do."""
    chosen = [row for row in rows if row["unit_id"] == unit_id and after <= row[time] <= before]
    return sorted(chosen, key=lambda row: row[time])


def _hours(start: str, end: str) -> float:
    return (datetime.fromisoformat(end) - datetime.fromisoformat(start)).total_seconds() / 3600


def _shifted(instant: str, **by: float) -> str:
    return (datetime.fromisoformat(instant) + timedelta(**by)).strftime("%Y-%m-%dT%H:%M:%SZ")


def _cycles(rows: Any, site: str, facts: dict[str, Any]) -> list[Row]:
    span = facts["from_ended_at"], facts["to_started_at"]
    return _of_unit(rows[site, "disinfections"], facts["unit_id"], "started_at", *span)


def test_every_kind_of_slip_is_planted(truth: dict[str, Any]) -> None:
    planted = {name for facts in truth["sites"].values() for name in facts["counts"]}
    wanted = {kind.plant.__name__ for kind in KINDS}
    in_files = {"duplicate_rows", "corrected_row", "unknown_unit", "bad_row_bad_number", "bad_row_bad_time"}
    assert planted >= wanted | in_files | {
        "late_change",
        "undelivered_month",
        "bad_row_nonexistent_local_time",
    }


def test_the_counts_are_those_of_the_list(truth: dict[str, Any]) -> None:
    for facts in truth["sites"].values():
        assert facts["counts"] == Counter(slip["slip"] for slip in facts["slips"])


def test_no_changeover_carries_two_slips(truth: dict[str, Any]) -> None:
    for site, facts in truth["sites"].items():
        wheres = Counter(
            (site, expect["where"]["unit_id"], expect["where"]["to_started_at"])
            for slip in facts["slips"]
            for expect in slip["expect"]
            if expect["table"] == "changeovers"
        )
        assert set(wheres.values()) == {1}


def test_late_changes_keep_to_stays_without_another_slip(truth: dict[str, Any]) -> None:
    for facts in truth["sites"].values():
        patients: dict[bool, set[str]] = {True: set(), False: set()}
        for slip in facts["slips"]:
            if not slip["slip"].startswith("bad_row"):
                patients[slip["slip"] == "late_change"].add(slip.get("patient_ref", ""))
        assert patients[True]
        assert not patients[True] & patients[False]


@pytest.mark.parametrize("slip", ["missed_disinfection", "carried_over_circuit"])
def test_a_missed_disinfection_left_no_record(slip: str, truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, slip, "changeovers"):
        assert facts["proof"] == "no_record"
        assert not _cycles(rows, site, facts)


def test_a_missed_disinfection_did_not_raise_the_count(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "missed_disinfection", "changeovers"):
        known = [
            (row[time], int(row["cycle_count"]))
            for table, time in (("disinfections", "ended_at"), ("count_readings", "read_at"))
            for row in rows[site, table]
            if row["unit_id"] == facts["unit_id"] and row.get("outcome", "passed") == "passed" and row[time]
        ]
        before = max(pair for pair in known if pair[0] < facts["from_ended_at"])
        after = min(pair for pair in known if pair[0] > facts["to_started_at"])
        cycles = _of_unit(rows[site, "disinfections"], facts["unit_id"], "ended_at", before[0], after[0])
        passed = [row for row in cycles if row["ended_at"] > before[0] and row["outcome"] == "passed"]
        assert after[1] - before[1] == len(passed)


def test_after_a_failed_cycle_there_was_no_other(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "failed_cycle_then_used", "changeovers"):
        assert [row["outcome"] for row in _cycles(rows, site, facts)] == ["failed"]


def test_the_count_rose_over_an_unrecorded_cycle(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "unrecorded_disinfection", "changeovers"):
        assert not _cycles(rows, site, facts)
    for site, facts in _planted(truth, "unrecorded_disinfection", "count_checks"):
        span = facts["from_at"], facts["to_at"]
        readings = _of_unit(rows[site, "count_readings"], facts["unit_id"], "read_at", *span)
        assert [int(row["cycle_count"]) - int(readings[0]["cycle_count"]) for row in readings] == [0, 1]


def test_storage_expired_before_the_unit_was_used(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "expired_storage", "changeovers"):
        assert _hours(_cycles(rows, site, facts)[-1]["ended_at"], facts["to_started_at"]) > 14 * 24


def test_uncharted_use_lies_between_the_cycle_and_the_next_patient(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "uncharted_use", "changeovers"):
        cycle = _cycles(rows, site, facts)[-1]
        clear = _shifted(cycle["ended_at"], hours=1), _shifted(facts["to_started_at"], hours=-2)
        samples = _of_unit(rows[site, "usage_samples"], facts["unit_id"], "sampled_at", *clear)
        assert sum(row["phase"] == "in_use" for row in samples) * 5 >= 115


def _fittings(rows: Any, site: str, facts: dict[str, Any], after: str, before: str) -> list[Row]:
    return [
        row
        for row in rows[site, "part_changes"]
        if row["part"] == facts["part"]
        and (row["unit_id"] or facts["unit_id"]) == facts["unit_id"]
        and row["patient_ref"] in ("", facts["patient_ref"])
        and after <= row["fitted_at"] <= before
    ]


@pytest.mark.parametrize("slip", ["missed_fitting", "carried_over_circuit"])
def test_no_fresh_part_was_charted(slip: str, truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, slip, "fresh_part_checks"):
        window = _shifted(facts["started_at"], hours=-24), _shifted(facts["started_at"], hours=2)
        mine = [row for row in _fittings(rows, site, facts, *window) if row["patient_ref"]]
        by_unit = _fittings(rows, site, facts, _shifted(facts["started_at"], hours=-1), window[1])
        assert not [row for row in mine if row["patient_ref"] == facts["patient_ref"]] + by_unit


@pytest.mark.parametrize("slip", ["late_change", "missed_change"])
def test_an_overrun_is_as_long_as_stated(slip: str, truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, slip, "part_spans"):
        (episode,) = (
            row
            for row in rows[site, "episodes"]
            if row["unit_id"] == facts["unit_id"] and row["patient_ref"] == facts["patient_ref"]
        )
        fitted = _fittings(rows, site, facts, facts["fitted_at"], episode["ended_at"])
        ends = sorted(row["fitted_at"] for row in fitted if row["fitted_at"] > facts["fitted_at"])
        assert facts["fitted_at"] in {row["fitted_at"] for row in fitted}
        in_place_h = _hours(facts["fitted_at"], [*ends, episode["ended_at"]][0])
        assert in_place_h - 168 == pytest.approx(facts["overrun_h"], abs=1e-5)
        assert facts["overrun_h"] > 0


def _episode(rows: Any, site: str, facts: dict[str, Any]) -> Row:
    (row,) = (
        row
        for row in rows[site, "episodes"]
        if (row["unit_id"], row["started_at"]) == (facts["unit_id"], facts["started_at"])
    )
    return row


def test_a_late_end_was_charted_during_or_soon_after_the_cycle(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "late_end", "patient_stays"):
        assert 0 < _hours(facts["ended_at"], _episode(rows, site, facts)["ended_at"]) <= 100 / 60


def test_a_missing_end_is_empty_and_a_cycle_follows(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "missing_end", "patient_stays"):
        assert not _episode(rows, site, facts)["ended_at"]
        started = {(row["unit_id"], row["started_at"]) for row in rows[site, "disinfections"]}
        assert (facts["unit_id"], facts["ended_at"]) in started


def test_overlapping_episodes_overlap_by_five_hours(truth: dict[str, Any], rows: Any) -> None:
    found = _planted(truth, "overlapping_episodes", "patient_stays")
    for (site, first), (_, second) in zip(found[::2], found[1::2], strict=True):
        assert _hours(second["started_at"], _episode(rows, site, first)["ended_at"]) == 5


def _counts(rows: Any, site: str, unit_id: str) -> list[tuple[str, int]]:
    times = (("disinfections", "ended_at"), ("count_readings", "read_at"))
    return sorted(
        (row[time], int(row["cycle_count"]))
        for table, time in times
        for row in rows[site, table]
        if row["unit_id"] == unit_id and row.get("outcome") != "complete"
    )


def test_a_misread_count_fits_neither_neighbour(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "count_misread", "count_checks"):
        counts = _counts(rows, site, facts["unit_id"])
        index = [at for at, _ in counts].index(facts.get("to_at") or facts["from_at"])
        before, here, after = (count for _, count in counts[index - 1 : index + 2])
        assert 0 <= after - before <= 2
        assert not before <= here <= after


def test_a_counter_set_back_goes_on_from_there(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "count_rollback", "count_checks"):
        counts = _counts(rows, site, facts["unit_id"])
        index = [at for at, _ in counts].index(facts["to_at"])
        assert counts[index][1] < counts[index - 1][1]
        assert counts[index][1] <= counts[index + 1][1] < 20


def test_a_dry_bag_hung_longer_than_its_water_lasts(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "dry_bag", "bag_runs"):
        later = _of_unit(rows[site, "part_changes"], facts["unit_id"], "fitted_at", facts["hung_at"], "9")
        next_hung = [row["fitted_at"] for row in later if row["part"] == "water_bag"][1]
        span = facts["hung_at"], next_hung
        samples = _of_unit(rows[site, "usage_samples"], facts["unit_id"], "sampled_at", *span)
        flow = sum(float(row["flow_l_min"]) for row in samples if row["phase"] == "in_use")
        assert flow * 5 * 0.0442 > 2200
        assert min(float(row["dew_point_c"]) for row in samples if row["phase"] == "in_use") < 34


def test_a_cold_start_begins_with_therapy_at_thirty_degrees(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "cold_start", "powered_runs"):
        span = facts["powered_at"], _shifted(facts["powered_at"], minutes=10)
        first = _of_unit(rows[site, "usage_samples"], facts["unit_id"], "sampled_at", *span)[0]
        assert (first["sampled_at"], first["phase"]) == (facts["powered_at"], "in_use")
        assert float(first["dew_point_c"]) < 34.5


def test_a_drifting_clock_ends_therapy_after_the_charted_end(truth: dict[str, Any], rows: Any) -> None:
    for site, facts in _planted(truth, "clock_drift", "changeovers"):
        ended_at = facts["from_ended_at"]
        span = _shifted(ended_at, hours=-1), _shifted(ended_at, minutes=10)
        samples = _of_unit(rows[site, "usage_samples"], facts["unit_id"], "sampled_at", *span)
        last = [row["sampled_at"] for row in samples if row["phase"] == "in_use"][-1]
        assert -1 / 60 < _hours(ended_at, last) < 9 / 60


def test_the_undelivered_month_has_no_file(truth: dict[str, Any], folder: Path) -> None:
    at = next(slip["at"] for slip in truth["sites"]["TARN-S"]["slips"] if slip["slip"] == "undelivered_month")
    month = _shifted(at, hours=12)[:7]
    assert not (folder / "TARN-S" / f"disinfections_{month}.csv").exists()
    assert (folder / "TARN-N" / f"disinfections_{month}.csv").exists()


SPOILT = {
    "bad_number": ("flow_l_min", "3O.5"),
    "out_of_range": ("flow_l_min", "250"),
    "bad_code": ("outcome", "complete"),
    "missing_value": ("unit_id", ""),
    "nonexistent_local_time": ("checked_at", "2026-03-29T01:30:00"),
}


def _line(folder: Path, site: str, facts: dict[str, Any]) -> Row:
    lines = (folder / site / facts["file"]).read_text("utf-8").splitlines()
    return dict(zip(lines[0].split(","), lines[facts["row"] - 1].split(","), strict=True))


@pytest.mark.parametrize("reason", sorted(SPOILT))
def test_a_bad_row_stands_where_the_truth_says(reason: str, truth: dict[str, Any], folder: Path) -> None:
    for site, facts in _planted(truth, f"bad_row_{reason}", "quarantine"):
        column, value = SPOILT[reason]
        assert _line(folder, site, facts)[column] == value
        assert facts["reasons"] == [reason]


def test_a_row_that_ends_before_it_starts_does_so(truth: dict[str, Any], folder: Path) -> None:
    for site, facts in _planted(truth, "bad_row_ends_before_start", "quarantine"):
        line = _line(folder, site, facts)
        assert line["ended_at"] < line["started_at"]


def test_an_impossible_day_cannot_be_read(truth: dict[str, Any], folder: Path) -> None:
    for site, facts in _planted(truth, "bad_row_bad_time", "quarantine"):
        with pytest.raises(ValueError, match="day"):
            datetime.fromisoformat(_line(folder, site, facts)["fitted_at"])


def test_repeated_rows_are_as_many_as_stated(truth: dict[str, Any], folder: Path) -> None:
    for site, facts in _planted(truth, "duplicate_rows", "ingest"):
        lines = (folder / site / facts["file"]).read_text("utf-8").splitlines()
        assert len(lines) - len(set(lines)) == facts["duplicates"] > 0


def test_the_lot_kept_is_that_of_the_larger_fingerprint(
    truth: dict[str, Any], folder: Path, rows: Any
) -> None:
    for site, facts in _planted(truth, "corrected_row", "part_spans"):
        key = {name: facts[name] for name in ("unit_id", "part", "fitted_at")}
        lots = {}
        for path in (folder / site).glob("part_changes_*.csv"):
            with path.open(encoding="utf-8", newline="") as file:
                for row in csv.DictReader(file):
                    if key.items() <= row.items():
                        lots[hashlib.sha256(path.read_bytes()).hexdigest()] = row["lot"]
        assert len(lots) == 2
        assert lots[max(lots)] == facts["lot"]


def test_an_unknown_unit_is_in_no_register(truth: dict[str, Any], folder: Path) -> None:
    for site, facts in truth["sites"].items():
        (unit_id,) = (slip["unit_id"] for slip in facts["slips"] if slip["slip"] == "unknown_unit")
        assert unit_id not in (folder / site / "units.csv").read_text("utf-8")


def test_rowan_changes_circuits_late_more_often_from_march_2026() -> None:
    scenario = Scenario(months=4, units=20, first_month="2026-02")
    units = fleet(scenario, NORTH)
    scene = scene_of(scenario, NORTH, units, simulate(scenario, NORTH, units))
    shares = {
        (visit.leg.ward, scenario.month_of(visit.leg.started_at)): late_share(scene, visit, "circuit")
        for visit in scene.visits
    }
    rowan = [shares["Rowan", month] for month in ("2026-02", "2026-03", "2026-04", "2026-05")]
    assert rowan == pytest.approx([0.05, 0.2, 0.35, 0.5])
    assert shares["Cedar", "2026-05"] == 0.04
