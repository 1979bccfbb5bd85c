"""Files as wholes: every expectation is met by a good file and fails for a file that breaks it."""

import datetime
import json
from types import SimpleNamespace

import polars as pl
import pytest

from pipeline.errors import DewledgerError
from pipeline.ingest import expectations
from pipeline.ingest.expectations import judge_facts
from pipeline.ingest.facts import FACTS, FileFacts, measure
from pipeline.ingest.ingest import ingest
from pipeline.ingest.row_rules import MEANINGS
from pipeline.records import TABLES
from pipeline.store.columns import good_schema
from pipeline.store.layout import open_store
from pipeline.store.ledger import LedgerEntry

NOW = datetime.datetime(2026, 6, 1, 12, 0)
START = datetime.datetime(2026, 5, 30, 8, 0)
LIMITED = {fact.name: fact for fact in FACTS}


def minutes(count):
    return START + datetime.timedelta(minutes=count)


def facts_of(table, rows, **counts):
    numbered = [{"site_id": "TARN", "source_row": place, **row} for place, row in enumerate(rows, start=2)]
    frame = pl.DataFrame(numbered, schema=good_schema(TABLES[table]))
    counts = {"rows_read": len(rows), "accepted": len(rows), **counts}
    entry = LedgerEntry(sha256="00", name="x.csv", table=table, profile="plain", **counts)
    return measure(TABLES[table], entry, frame, NOW)


def samples(count=4, dew_point=37.0, phase="in_use"):
    row = {"unit_id": "001", "flow_l_min": 30.0, "phase": phase, "dew_point_c": dew_point}
    return [{**row, "sampled_at": minutes(place)} for place in range(count)]


def failed(*files):
    return {outcome.expectation for outcome in judge_facts(list(files)) if not outcome.success}


def test_a_good_file_meets_every_expectation():
    outcomes = judge_facts([facts_of("usage_samples", samples())])
    assert all(outcome.success for outcome in outcomes)
    assert {"unaccounted_rows", "missing_value_pct", "rows_per_unit_day"} <= {
        outcome.expectation for outcome in outcomes
    }


def test_an_expectation_that_no_file_can_tell_of_is_left_out():
    names = {outcome.expectation for outcome in judge_facts([facts_of("units", [{"unit_id": "1"}])])}
    assert not names & {"rows_per_unit_day", "dew_point_distance_c", "age_days", "missing_lot_pct"}


@pytest.mark.parametrize("reason", ["missing_value", "bad_time", "bad_code", "out_of_range", "in_future"])
@pytest.mark.parametrize(("bad", "names"), [(1, set()), (2, {True})])
def test_more_than_one_row_in_a_hundred_kept_out_for_a_reason(reason, bad, names):
    rows = samples(100 - bad)
    file = facts_of("usage_samples", rows, rows_read=100, quarantined=bad, reasons={reason: bad})
    assert failed(file) == {f"{reason}_pct" for _ in names}


def test_the_worst_file_decides_and_the_number_is_told():
    bad = facts_of("usage_samples", samples(1), rows_read=2, quarantined=1, reasons={"bad_number": 1})
    found = judge_facts([facts_of("usage_samples", samples()), bad])
    outcome = next(item for item in found if item.expectation == "bad_number_pct")
    assert (outcome.success, outcome.observed, outcome.most) == (False, 50.0, 1.0)


def test_many_warnings_of_one_kind():
    assert failed(facts_of("usage_samples", samples(10), warnings={"unknown_unit": 1})) == set()
    assert failed(facts_of("usage_samples", samples(10), warnings={"unknown_unit": 2})) == {
        "unknown_unit_pct"
    }


def test_a_dew_point_far_from_the_target():
    assert failed(facts_of("usage_samples", samples(dew_point=34.0))) == set()
    assert failed(facts_of("usage_samples", samples(dew_point=33.9))) == {"dew_point_distance_c"}
    assert failed(facts_of("usage_samples", samples(dew_point=20.0, phase="standby"))) == set()


def test_too_many_rows_of_a_unit_in_one_day():
    row = samples(1)[0]
    crowd = [{**row, "sampled_at": START + datetime.timedelta(seconds=place)} for place in range(17_281)]
    crowd.insert(0, {**row, "sampled_at": START - datetime.timedelta(days=1)})
    assert failed(facts_of("usage_samples", crowd)) == {"rows_per_unit_day"}
    assert failed(facts_of("usage_samples", crowd[:-1])) == set()


def test_sessions_that_add_up_to_more_than_the_time_they_span():
    row = {"unit_id": "001", "mean_flow_l_min": 30.0}
    apart = [{**row, "started_at": minutes(at), "ended_at": minutes(at + 60)} for at in (0, 60)]
    across = [{**row, "started_at": minutes(at), "ended_at": minutes(at + 60)} for at in (0, 59)]
    assert failed(facts_of("usage_sessions", apart)) == set()
    assert failed(facts_of("usage_sessions", across)) == {"therapy_share"}


def test_a_count_that_falls():
    rows = [
        {"unit_id": unit, "read_at": minutes(at), "cycle_count": count}
        for unit, at, count in [("1", 9, 5), ("1", 3, 4), ("2", 5, 1), ("1", 12, 5)]
    ]
    assert failed(facts_of("count_readings", rows)) == set()
    rows[0]["cycle_count"] = 3
    assert failed(facts_of("count_readings", rows)) == {"count_falls"}


def test_many_corrections():
    assert failed(facts_of("usage_samples", samples(20), corrected=1)) == set()
    assert failed(facts_of("usage_samples", samples(20), corrected=2)) == {"corrected_pct"}


def test_the_newest_file_tells_how_old_the_records_are():
    old = [{**row, "sampled_at": row["sampled_at"] - datetime.timedelta(days=60)} for row in samples()]
    assert failed(facts_of("usage_samples", old)) == {"age_days"}
    assert failed(facts_of("usage_samples", old), facts_of("usage_samples", samples())) == set()


def test_a_row_that_got_lost():
    numbers = {**dict.fromkeys(LIMITED), "unaccounted_rows": 1.0}
    assert failed(FileFacts("00", "units", numbers)) == {"unaccounted_rows"}


@pytest.mark.parametrize(
    "exception_info",
    [{"raised_exception": True}, {"some metric": {"raised_exception": True}}, {}],
    ids=["raised", "raised in a metric", "not told"],
)
def test_an_expectation_that_raised_is_a_fault_and_no_success(exception_info):
    result = SimpleNamespace(
        success=True,
        exception_info=exception_info,
        expectation_config=SimpleNamespace(kwargs={"column": "count_falls"}),
        result={"observed_value": 0},
    )
    with pytest.raises(DewledgerError, match="'count_falls' could not be judged"):
        expectations._outcome("units", LIMITED["count_falls"], result)


def test_the_library_really_tells_what_it_raised(monkeypatch):
    """Pinned to how Great Expectations 1.24 reports an expectation on a column that is not there."""
    expectation = expectations._expectation

    def of_no_column(library, fact):
        found = expectation(library, fact)
        found.column = "nowhere"
        return found

    monkeypatch.setattr(expectations, "_expectation", of_no_column)
    with pytest.raises(DewledgerError, match="could not be judged"):
        judge_facts([FileFacts("00", "units", {**dict.fromkeys(LIMITED), "count_falls": 0.0})])


def test_every_fact_has_a_name_words_and_a_limit():
    assert len(LIMITED) == len(FACTS)
    assert all(fact.meaning and (fact.most, fact.least) != (None, None) for fact in FACTS)
    assert {f"{rule}_pct" for rule in MEANINGS} <= set(LIMITED)


def test_an_ingest_keeps_the_outcome_without_any_rows_values(tmp_path, capfd):
    (tmp_path / "site.toml").write_text('site_id = "TARN"\ntime_zone = "Europe/Dublin"\n')
    (tmp_path / "units.csv").write_text("unit_id,ward\nUNIT-77,Alderbrook\n,Alderbrook\n")
    store = open_store(tmp_path / "store", create=True)
    report = ingest(store, [tmp_path / "units.csv"], rules_path=tmp_path / "site.toml", now=NOW)
    assert [item.expectation for item in report.expectations if not item.success] == ["missing_value_pct"]
    kept = next((tmp_path / "store" / "validation").glob("*.json")).read_text()
    assert json.loads(kept)["files"] == [report.files[0].sha256]
    assert json.loads(kept)["expectations"] == json.loads(json.dumps(report.as_json()))["expectations"]
    assert "UNIT-77" not in kept
    assert capfd.readouterr() == ("", "")


def test_nothing_new_is_not_judged(tmp_path):
    assert expectations.judge_batch(open_store(tmp_path / "store", create=True), []) == ()
    assert not (tmp_path / "store" / "validation").exists()
