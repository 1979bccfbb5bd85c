"""A draft gets most columns right with no help, and none wrong: what it does not know it leaves open."""

from __future__ import annotations

import datetime
import random
from collections import Counter
from pathlib import Path

import pytest
from families import FAMILIES, Family, Truth

from pipeline.errors import RefusedFile, UsageError
from pipeline.ingest.drafting import draft as draft_module
from pipeline.ingest.drafting.draft import Draft, draft_profile
from pipeline.ingest.drafting.first_rows import first_rows
from pipeline.ingest.drafting.profile_toml import profile_toml
from pipeline.ingest.profiles import load_profile
from pipeline.site_rules import SiteRules

NOW = datetime.datetime(2026, 12, 1)
UTC = SiteRules(time_zone="UTC")
_FAMILIES: dict[str, tuple[Family, Draft]] = {}


@pytest.fixture(scope="module", params=list(FAMILIES))
def drafted(request, tmp_path_factory) -> tuple[Family, Draft, Path]:
    family = FAMILIES[request.param](random.Random(20260301))
    path = tmp_path_factory.mktemp("family") / family.file
    path.write_bytes(family.content)
    return family, draft_profile(path), path


def verdicts(draft: Draft, truth: Truth, table: str | None) -> Counter[str]:
    """Count the columns that are right, left open though they are known, and taken for something they are not."""
    counted: Counter[str] = Counter()
    for column in draft.columns:
        known = truth.get(column.name, (None, "")) if draft.table == table else (None, "")
        if (column.ours, column.part) == known:
            counted["right"] += 1
        else:
            counted["open" if column.ours is None else "wrong"] += 1
    return counted


def test_the_table_is_told_and_no_column_is_wrong(drafted):
    family, draft, _ = drafted
    assert draft.table == family.table
    counted = verdicts(draft, family.truth, family.table)
    assert counted["wrong"] == 0
    assert sum(counted.values()) == len(family.truth)


def test_what_is_read_by_the_draft_is_what_the_file_says(drafted):
    family, draft, path = drafted
    told = first_rows(path, draft, UTC, NOW)
    assert (told.unreadable, told.accepted, told.quarantined) == (None, len(family.rows), 0)
    for row, known in zip(told.rows, family.rows, strict=False):
        for name, value in known.items():
            if name in row:
                assert row[name] == (pytest.approx(value) if isinstance(value, int | float) else value)


def test_a_draft_is_a_profile_that_loads_and_claims_its_file(drafted, tmp_path):
    family, draft, _ = drafted
    (tmp_path / "profile.toml").write_text(profile_toml(draft), "utf-8")
    assert load_profile(tmp_path / "profile.toml").table_of(family.file) == family.table


#: What the columns of the open charting data are, where a table of ours is in them; all others are of no table.
_EPISODE = {"subject_id": "patient_ref", "first_careunit": "ward", "start": "started_at", "end": "ended_at"}
_STAY = {"subject_id": "patient_ref", "intime": "started_at", "outtime": "ended_at"}
OPEN = {
    "derived_active_humidification_episodes.csv": _EPISODE,
    "derived_hfnc_only_episodes.csv": _EPISODE,
    "derived_highflow_episodes.csv": _EPISODE,
    "raw_icustays.csv": {**_STAY, "last_careunit": "ward"},
    "raw_transfers.csv": {**_STAY, "careunit": "ward"},
}


def _open_verdicts(path: Path) -> Counter[str]:
    truth: Truth = {name: (ours, "") for name, ours in OPEN.get(path.name, {}).items()}
    return verdicts(draft_profile(path), truth, "episodes" if truth else None)


@pytest.mark.open_data
def test_nine_of_ten_columns_are_right_and_none_is_wrong(open_data, tmp_path, capsys, monkeypatch):
    """The eight families, and the open charting data (MIMIC-IV and eICU demos, ODbL 1.0; see their own tests)."""
    monkeypatch.setattr(draft_module, "_ROWS", 2000)
    counted: Counter[str] = Counter()
    for made in FAMILIES.values():
        family = made(random.Random(20260301))
        (tmp_path / family.file).write_bytes(family.content)
        counted += verdicts(draft_profile(tmp_path / family.file), family.truth, family.table)
    invented = counted.copy()
    for folder in ("icu_open", "eicu_open"):
        for path in sorted((open_data / folder).glob("*.csv")):
            counted += _open_verdicts(path)
    with capsys.disabled():
        for name, found in (("invented", invented), ("all", counted)):
            share = found["right"] / sum(found.values())
            told = f"{found['right']} of {sum(found.values())} columns right ({share:.1%})"
            print(f"\n{name}: {told}, {found['open']} left open, {found['wrong']} wrong")
    assert counted["wrong"] == 0
    assert invented["right"] >= 0.9 * sum(invented.values())
    assert counted["right"] >= 0.9 * sum(counted.values())


# --- What must stay open ---------------------------------------------------------------------------------------

HEAD = "unit_id,read_at,cycle_count\n"


def drafted_text(tmp_path: Path, text: str, name: str = "count_readings.csv", **stated) -> Draft:
    (tmp_path / name).write_text(text, "utf-8")
    return draft_profile(tmp_path / name, **stated)


def column(draft: Draft, name: str):
    return next(found for found in draft.columns if found.name == name)


@pytest.mark.parametrize(("day", "is_open"), [("12", True), ("13", False)])
def test_days_that_may_be_months_stay_open(tmp_path, day, is_open):
    text = HEAD + f"1,03/04/2026 08:00,7\n1,{day}/05/2026 08:00,8\n"
    found = column(drafted_text(tmp_path, text), "read_at")
    assert (found.ours is None) == is_open
    assert ("day and month cannot be told apart" in found.doubt) == is_open


def test_a_file_that_mixes_both_orders_stays_open(tmp_path):
    text = HEAD + "1,13/04/2026 08:00,7\n1,04/13/2026 08:00,8\n" * 5
    assert column(drafted_text(tmp_path, text), "read_at").ours is None


def test_two_columns_for_one_meaning_stay_open(tmp_path):
    text = "Device,Machine,read_at,cycle_count\n1,2,2026-03-02T08:00,7\n"
    draft = drafted_text(tmp_path, text)
    assert column(draft, "Device").ours is column(draft, "Machine").ours is None


def test_one_word_for_two_meanings_stays_open(tmp_path):
    text = "MRN,Unit,started_at,ended_at\n1,C3,2026-03-02T08:00,2026-03-03T08:00\n"
    draft = drafted_text(tmp_path, text, "episodes.csv")
    assert column(draft, "Unit").ours is None
    assert any(
        "unit_id" in doubt or "ward" in doubt for doubt in (column(draft, "Unit").doubt, *draft.doubts)
    )


@pytest.mark.parametrize(
    ("head", "values", "is_open"),
    [
        ("flow", [0.5, 0.6, 0.4], True),
        ("flow", [30, 40, 35], False),
        ("flow (L/s)", [30, 40, 35], True),
        ("flow (L/s)", [0.5, 0.6, 0.4], False),
        ("dew_point_c", [98.6, 97.0, 98.0], True),
    ],
)
def test_a_unit_that_the_values_contradict_stays_open(tmp_path, head, values, is_open):
    text = f"unit_id,sampled_at,{head},phase\n" + "".join(
        f"1,2026-03-02T08:0{n},{v},off\n" for n, v in enumerate(values)
    )
    draft = drafted_text(tmp_path, text, "usage_samples.csv")
    assert (column(draft, head).ours is None) == is_open


def test_numbers_that_may_be_thousands_are_told(tmp_path):
    text = "Unit;read_at;cycle_count\n" + "A1;2026-03-02T08:00;1,234\n" * 3
    assert any("thousands" in doubt for doubt in drafted_text(tmp_path, text).doubts)


def test_words_that_are_not_known_stay_open(tmp_path):
    text = (
        "unit_id,sampled_at,flow_l_min,phase\n1,2026-03-02T08:00,30,therapy\n1,2026-03-02T08:01,30,warble\n"
    )
    assert "words are not known" in column(drafted_text(tmp_path, text, "usage_samples.csv"), "phase").doubt


def test_days_without_a_time_are_no_instants(tmp_path):
    found = column(drafted_text(tmp_path, HEAD + "1,2026-03-13,7\n"), "read_at")
    assert (found.ours, "time of day" in found.doubt) == (None, True)


def test_day_numbers_of_a_spreadsheet_stay_open(tmp_path):
    assert "serial_1900" in column(drafted_text(tmp_path, HEAD + "1,46083.25,7\n"), "read_at").doubt


def test_a_file_of_no_table_says_nothing_of_its_columns(tmp_path):
    draft = drafted_text(tmp_path, "a,b\n1,2\n", "x.csv")
    assert (draft.table, {found.ours for found in draft.columns}) == (None, {None})
    assert "no table's columns" in draft.doubts[0]


def test_a_table_may_be_given(tmp_path):
    draft = drafted_text(tmp_path, "a,unit_id\n1,2\n", "x.csv", table="units")
    assert (draft.table, column(draft, "unit_id").ours) == ("units", "unit_id")
    with pytest.raises(UsageError, match="Did you mean 'units'"):
        drafted_text(tmp_path, "a\n1\n", "x.csv", table="unts")


def test_a_file_that_cannot_be_looked_into_is_refused(tmp_path):
    (tmp_path / "x.xlsx").write_bytes(b"\xd0\xcf\x11\xe0" + b"\0" * 99)
    with pytest.raises(RefusedFile):
        draft_profile(tmp_path / "x.xlsx")


def test_nothing_in_a_file_can_break_out_of_a_comment(tmp_path):
    text = 'unit_id,"x\n[columns]\nward = ""y""",ward\n1,2,Alder\n'
    draft = drafted_text(tmp_path, text, "units.csv", table="units")
    (tmp_path / "profile.toml").write_text(profile_toml(draft), "utf-8")
    assert load_profile(tmp_path / "profile.toml").columns == {}
