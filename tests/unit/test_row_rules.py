"""Each row rule on its own: one row that breaks it, one that just does not."""

import datetime

import polars as pl
import pytest

from pipeline.ingest.judge import QUARANTINED, judge
from pipeline.ingest.row_rules import MEANINGS, ROW_RULES, broken_by_rule, named, table_at_site
from pipeline.records import TABLES
from pipeline.site_rules import parse_site_rules

NOW = datetime.datetime(2026, 6, 1, 12, 0, 0)
SAMPLE = {"unit_id": "031", "sampled_at": "2026-03-02T08:00:00Z", "flow_l_min": "30", "phase": "in_use"}
EPISODE = {
    "patient_ref": "m-1",
    "unit_id": "031",
    "ward": "Alder",
    "started_at": "2026-03-02T08:00:00Z",
    "ended_at": "2026-03-03T08:00:00Z",
}
CHANGE = {"unit_id": "031", "part": "circuit", "fitted_at": "2026-03-02T08:00:00Z", "lot": "L1"}
CYCLE = {"unit_id": "031", "started_at": "2026-03-02T08:00:00Z", "outcome": "passed"}
CENSUS = {"ward": "Alder", "counted_on": "2026-06-01", "patients": "4"}
MOVE = {
    "move_ref": "1",
    "item_id": "C7",
    "moved_at": "2026-03-02T08:00:00Z",
    "kind": "count",
    "quantity": "4",
}


def judged(table: str, row: dict[str, str | None], zone: str = "Europe/Dublin", now=NOW) -> pl.DataFrame:
    rows = pl.DataFrame([{**row, "source_row": 2}], schema_overrides=dict.fromkeys(row, pl.String))
    return judge(rows, TABLES[table], zone, now)


def broken(table: str, row: dict[str, str | None], **stated) -> str:
    """Every rule the row breaks, reasons before warnings."""
    frame, definition = judged(table, row, **stated), TABLES[table]
    rules = broken_by_rule(definition, quarantines=True) | broken_by_rule(definition, quarantines=False)
    assert frame[QUARANTINED].item() == bool(
        frame.select(named(broken_by_rule(definition, quarantines=True)).alias("reasons")).item()
    )
    return frame.select(named(rules).alias("names")).item()


@pytest.mark.parametrize(
    ("table", "row"),
    [("usage_samples", SAMPLE), ("episodes", EPISODE), ("part_changes", CHANGE), ("disinfections", CYCLE)],
)
def test_a_row_in_order_breaks_no_rule(table, row):
    assert broken(table, row) == ""


@pytest.mark.parametrize("column", SAMPLE)
@pytest.mark.parametrize("said", ["", "   ", None])
def test_an_empty_required_column_is_missing(column, said):
    assert broken("usage_samples", {**SAMPLE, column: said}) == "missing_value"


def test_a_part_change_needs_a_unit_or_a_patient():
    of_patient = {**CHANGE, "unit_id": "", "patient_ref": "m-1"}
    assert broken("part_changes", of_patient) == ""
    assert broken("part_changes", {**of_patient, "patient_ref": ""}) == "missing_value"


@pytest.mark.parametrize(
    "said", ["abc", "1,5", "1e3", "0x10", "--1", "1_000", "NaN", "inf", "1.", "٣", "1 5"]
)
def test_text_that_is_no_number(said):
    assert broken("usage_samples", {**SAMPLE, "flow_l_min": said}) == "bad_number"


@pytest.mark.parametrize(
    ("said", "value"), [("30", 30.0), (" 30.50 ", 30.5), ("+7", 7.0), (".5", 0.5), ("007", 7.0)]
)
def test_text_that_is_a_number(said, value):
    assert judged("usage_samples", {**SAMPLE, "flow_l_min": said})["flow_l_min"].item() == value


@pytest.mark.parametrize("said", ["1.7", "12.0", "1e2", "", "a"])
def test_a_count_is_a_whole_number_only(said):
    row = {"unit_id": "031", "read_at": "2026-03-02T08:00:00Z", "cycle_count": said}
    assert broken("count_readings", row) == ("bad_number" if said else "missing_value")


@pytest.mark.parametrize(
    ("flow", "names"), [("0", ""), ("-0.1", "out_of_range"), ("100", ""), ("100.1", "out_of_range")]
)
def test_the_bounds_of_a_required_number_are_inside(flow, names):
    assert broken("usage_samples", {**SAMPLE, "flow_l_min": flow}) == names


@pytest.mark.parametrize(
    ("column", "inside", "outside"),
    [
        ("dew_point_c", ("0", "50"), ("-0.1", "50.1")),
        ("oxygen_pct", ("20", "100"), ("19.9", "100.1")),
        ("set_dew_point_c", ("0", "50"), ("-1", "51")),
    ],
)
def test_an_optional_number_outside_is_emptied_with_a_warning(column, inside, outside):
    for said in inside:
        assert broken("usage_samples", {**SAMPLE, column: said}) == ""
    for said in (*outside, "n/a"):
        row = {**SAMPLE, column: said}
        assert broken("usage_samples", row) == "value_dropped"
        assert judged("usage_samples", row)[column].item() is None


def test_optional_codes_and_flags_are_emptied_too():
    assert broken("part_changes", {**CHANGE, "reason": "bored"}) == "value_dropped"
    assert broken("disinfections", {**CYCLE, "storage_protected": "perhaps"}) == "value_dropped"
    assert broken("disinfections", {**CYCLE, "cycle_count": "-1"}) == "value_dropped"


@pytest.mark.parametrize(
    ("said", "value"),
    [("TRUE", True), ("yes", True), ("1", True), ("False", False), ("no", False), ("0", False)],
)
def test_flags(said, value):
    assert judged("disinfections", {**CYCLE, "status_tagged": said})["status_tagged"].item() is value


def test_codes_are_compared_without_blanks_and_case():
    assert judged("usage_samples", {**SAMPLE, "phase": " In_Use "})["phase"].item() == "in_use"
    assert broken("usage_samples", {**SAMPLE, "phase": "on"}) == "bad_code"


def test_a_site_adds_parts_in_its_rules():
    rules = parse_site_rules('time_zone = "UTC"\n[parts.filter]\nmax_days = 3')
    assert table_at_site(TABLES["part_changes"], rules).column("part").codes == (
        "circuit",
        "filter",
        "interface",
        "water_bag",
    )
    assert broken("part_changes", {**CHANGE, "part": "filter"}) == "bad_code"


@pytest.mark.parametrize(
    "said",
    [
        "2026-02-30T08:00:00Z",
        "2026-13-01T08:00",
        "2026-03-02",
        "02/03/2026 08:00",
        "2026-03-02T24:00:00Z",
        "2026-03-02T08:00:60Z",
        "2026-03-02T08:60",
        "2026-3-2T08:00",
        "20260302T080000Z",
        "2026-03-02T08:00:00+1",
        "2026-03-02T08:00:00+15:00",
        "2026-03-02T08:00:00 +01:00",
        "2026-03-02T08:00:00.Z",
        "2026-03-02X08:00",
        "now",
    ],
)
def test_text_that_is_no_instant(said):
    assert broken("usage_samples", {**SAMPLE, "sampled_at": said}) == "bad_time"


@pytest.mark.parametrize(
    ("said", "instant"),
    [
        ("2026-03-02T08:00:05Z", "2026-03-02 08:00:05"),
        ("2026-03-02 08:00", "2026-03-02 08:00:00"),
        ("2026-03-02T08:00:05.999Z", "2026-03-02 08:00:05"),
        ("2026-03-02T08:00+01:00", "2026-03-02 07:00:00"),
        ("2026-03-02T08:00:05-0330", "2026-03-02 11:30:05"),
        ("2026-03-02T08:00:05.5+0545", "2026-03-02 02:15:05"),
        ("2026-05-02T08:00:05", "2026-05-02 07:00:05"),
    ],
)
def test_instants_are_stored_in_utc_and_whole_seconds(said, instant):
    frame = judged("usage_samples", {**SAMPLE, "sampled_at": said})
    assert frame["sampled_at"].item() == datetime.datetime.fromisoformat(instant)


@pytest.mark.parametrize(
    ("said", "names"),
    [
        ("2026-03-29T00:59:59", ""),
        ("2026-03-29T01:00:00", "nonexistent_local_time"),
        ("2026-03-29T01:59:59", "nonexistent_local_time"),
        ("2026-03-29T02:00:00", ""),
        ("2026-03-29T01:30:00Z", ""),
    ],
)
def test_local_times_that_the_spring_change_skips(said, names):
    """Europe/Dublin goes from 00:59:59 UTC to 02:00:00 local time on 29 March 2026 (IANA tz database)."""
    assert broken("usage_samples", {**SAMPLE, "sampled_at": said}) == names


@pytest.mark.parametrize(
    ("said", "names", "instant"),
    [
        ("2025-10-26T00:59:59", "", "2025-10-25 23:59:59"),
        ("2025-10-26T01:00:00", "ambiguous_local_time", "2025-10-26 00:00:00"),
        ("2025-10-26T01:59:59", "ambiguous_local_time", "2025-10-26 00:59:59"),
        ("2025-10-26T02:00:00", "", "2025-10-26 02:00:00"),
        ("2025-10-26T01:30:00+00:00", "", "2025-10-26 01:30:00"),
    ],
)
def test_of_local_times_that_occur_twice_the_earlier_counts(said, names, instant):
    row = {**SAMPLE, "sampled_at": said}
    assert broken("usage_samples", row) == names
    assert judged("usage_samples", row)["sampled_at"].item() == datetime.datetime.fromisoformat(instant)


def test_an_unreadable_optional_time_keeps_the_row_out():
    assert broken("part_changes", {**CHANGE, "removed_at": "soon"}) == "bad_time"
    assert broken("part_changes", {**CHANGE, "expires_on": "2026-02-30"}) == "bad_time"
    assert broken("usage_samples", {**SAMPLE, "exported_at": "today"}) == "bad_time"


def test_an_end_before_the_start():
    assert broken("episodes", {**EPISODE, "ended_at": "2026-03-02T08:00:00Z"}) == ""
    assert broken("episodes", {**EPISODE, "ended_at": "2026-03-02T07:59:59Z"}) == "ends_before_start"
    assert broken("part_changes", {**CHANGE, "removed_at": "2026-03-02T07:59:59Z"}) == "ends_before_start"


def test_a_time_after_the_ingest_lies_in_the_future():
    assert broken("usage_samples", {**SAMPLE, "sampled_at": "2026-06-01T12:00:00Z"}) == ""
    assert broken("usage_samples", {**SAMPLE, "sampled_at": "2026-06-01T12:00:01Z"}) == "in_future"
    assert broken("episodes", {**EPISODE, "ended_at": "2027-01-01T00:00Z"}) == "in_future,long_episode"


def test_the_exports_own_time_comes_before_the_ingests():
    row = {**SAMPLE, "sampled_at": "2026-03-02T08:00:01Z", "exported_at": "2026-03-02T08:00:00Z"}
    assert broken("usage_samples", row) == "in_future"
    assert broken("usage_samples", {**row, "exported_at": "2026-03-02T08:00:01Z"}) == ""


@pytest.mark.parametrize(("day", "names"), [("2026-06-02", ""), ("2026-06-03", "in_future")])
def test_a_day_lies_in_the_future_by_the_sites_own_calendar(day, names):
    """At 12:00 UTC on 1 June it is already 2 June in Auckland (UTC+12, IANA tz database)."""
    assert broken("ward_census", {**CENSUS, "counted_on": day}, zone="Pacific/Auckland") == names


def test_a_date_that_is_no_key_may_lie_ahead():
    assert broken("part_changes", {**CHANGE, "expires_on": "2030-01-01"}) == ""


def test_an_episode_of_more_than_60_days():
    assert broken("episodes", {**EPISODE, "ended_at": "2026-05-01T08:00:00Z"}) == ""
    assert broken("episodes", {**EPISODE, "ended_at": "2026-05-01T08:00:01Z"}) == "long_episode"


def test_what_may_be_empty_but_is_warned_of():
    assert broken("episodes", {**EPISODE, "ended_at": ""}) == "missing_end"
    assert broken("part_changes", {**CHANGE, "lot": ""}) == "missing_lot"


def test_an_unbounded_number_is_finite():
    assert broken("stock_moves", MOVE) == ""
    assert broken("stock_moves", {**MOVE, "quantity": "9" * 400}) == "bad_number"


def test_several_reasons_stand_together_in_the_rules_order():
    row = {"unit_id": "", "sampled_at": "x", "flow_l_min": "900", "phase": "?", "oxygen_pct": "7"}
    expected = "missing_value,bad_time,bad_code,out_of_range,value_dropped"
    assert broken("usage_samples", row) == expected


def test_every_rule_has_words_of_its_own():
    assert len({rule.name for rule in ROW_RULES}) == len(ROW_RULES)
    assert len(set(MEANINGS.values())) == len(MEANINGS) >= 16
