"""The clock on the wall against the store's UTC: 24 cases over four zones, read in the plain layout and by a
declared format. The transitions are those of the IANA time zone database (2026: tzdata release 2026a).

Dublin changes at 01:00 UTC, Lord Howe by half an hour, Santiago at midnight, Chatham by an hour at 45 minutes.
"""

import datetime

import pytest
from ingest_rows import new_folder, quarantine_of, read_text, stored

from pipeline.ingest.check import check

ZONES = ("Europe/Dublin", "Australia/Lord_Howe", "America/Santiago", "Pacific/Chatham")
GAP, FOLD, ONCE = "nonexistent_local_time", "ambiguous_local_time", None
#: Zone, time on the wall, what it is, and its instant in UTC (the earlier of two).
CASES = [
    ("Europe/Dublin", "2026-03-29 00:59:59", ONCE, "2026-03-29 00:59:59"),
    ("Europe/Dublin", "2026-03-29 01:00:00", GAP, None),
    ("Europe/Dublin", "2026-03-29 01:59:59", GAP, None),
    ("Europe/Dublin", "2026-03-29 02:00:00", ONCE, "2026-03-29 01:00:00"),
    ("Europe/Dublin", "2026-10-25 00:59:59", ONCE, "2026-10-24 23:59:59"),
    ("Europe/Dublin", "2026-10-25 01:00:00", FOLD, "2026-10-25 00:00:00"),
    ("Europe/Dublin", "2026-10-25 01:59:59", FOLD, "2026-10-25 00:59:59"),
    ("Europe/Dublin", "2026-10-25 02:00:00", ONCE, "2026-10-25 02:00:00"),
    ("Australia/Lord_Howe", "2026-10-04 01:59:59", ONCE, "2026-10-03 15:29:59"),
    ("Australia/Lord_Howe", "2026-10-04 02:00:00", GAP, None),
    ("Australia/Lord_Howe", "2026-10-04 02:29:59", GAP, None),
    ("Australia/Lord_Howe", "2026-10-04 02:30:00", ONCE, "2026-10-03 15:30:00"),
    ("Australia/Lord_Howe", "2026-04-05 01:30:00", FOLD, "2026-04-04 14:30:00"),
    ("Australia/Lord_Howe", "2026-04-05 02:00:00", ONCE, "2026-04-04 15:30:00"),
    ("America/Santiago", "2026-09-05 23:59:59", ONCE, "2026-09-06 03:59:59"),
    ("America/Santiago", "2026-09-06 00:00:00", GAP, None),
    ("America/Santiago", "2026-09-06 01:00:00", ONCE, "2026-09-06 04:00:00"),
    ("America/Santiago", "2026-04-04 23:00:00", FOLD, "2026-04-05 02:00:00"),
    ("America/Santiago", "2026-04-05 00:00:00", ONCE, "2026-04-05 04:00:00"),
    ("Pacific/Chatham", "2026-09-27 02:45:00", GAP, None),
    ("Pacific/Chatham", "2026-09-27 03:45:00", ONCE, "2026-09-26 14:00:00"),
    ("Pacific/Chatham", "2026-04-05 02:44:59", ONCE, "2026-04-04 12:59:59"),
    ("Pacific/Chatham", "2026-04-05 02:45:00", FOLD, "2026-04-04 13:00:00"),
    ("Pacific/Chatham", "2026-04-05 03:45:00", ONCE, "2026-04-04 15:00:00"),
]
PROFILE = 'name = "c"\ntable = "count_readings"\nfiles = ["c*"]\ntime_zone = "{}"\n'
PROFILE += 'time_formats = ["%d/%m/%Y %H:%M:%S"]\n'
HEAD = "unit_id,read_at,cycle_count\n"
NOW = datetime.datetime(2026, 12, 1, tzinfo=datetime.UTC)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    return new_folder(tmp_path, monkeypatch)


def outcome(folder, result):
    """What is stored (time in UTC, warnings) or why it is not."""
    if result.accepted:
        return stored(folder, "count_readings").select("read_at", "warnings").row(0)
    return None, quarantine_of(folder)[0][1]


def expected(kind, utc):
    return (datetime.datetime.fromisoformat(utc) if utc else None, kind)


def test_there_are_24_cases_over_four_zones():
    assert (len(CASES), {zone for zone, *_ in CASES}) == (24, set(ZONES))


@pytest.mark.parametrize(("zone", "wall", "kind", "utc"), CASES)
def test_a_time_on_the_wall_of_the_site(folder, zone, wall, kind, utc):
    (folder.parent / "site.toml").write_text(f'site_id = "TARN"\ntime_zone = "{zone}"\n')
    result = read_text(folder, "count_readings.csv", f"{HEAD}1,{wall},7\n", now=NOW)
    assert outcome(folder, result) == expected(kind, utc)


@pytest.mark.parametrize(("zone", "wall", "kind", "utc"), CASES)
def test_a_time_on_the_wall_of_the_profile(folder, zone, wall, kind, utc):
    profile = folder.parent / "profile.toml"
    profile.write_text(PROFILE.format(zone))
    day, clock = wall.split()
    said = "/".join(reversed(day.split("-"))) + " " + clock
    result = read_text(folder, "c.csv", f"{HEAD}1,{said},7\n", profile_path=profile, now=NOW)
    assert outcome(folder, result) == expected(kind, utc)


@pytest.mark.parametrize(
    "said", ["2026-10-25T01:30:00+01:00", "2026-10-25T01:30+0100", "2026-10-25 00:30:00Z"]
)
def test_an_offset_settles_what_the_clock_leaves_open(folder, said):
    result = read_text(folder, "count_readings.csv", f"{HEAD}1,{said},7\n", now=NOW)
    assert outcome(folder, result) == (datetime.datetime(2026, 10, 25, 0, 30), None)


def test_seconds_or_not_and_offsets_or_not_may_stand_in_one_column(folder):
    said = ["2026-03-02T08:00", "2026-03-02 08:00:30", "2026-03-02T08:01:00.9Z", "2026-03-02T09:02:00+01:00"]
    text = HEAD + "".join(f"1,{time},7\n" for time in said)
    read_text(folder, "count_readings.csv", text, now=NOW)
    minutes = [(time.minute, time.second) for time in stored(folder, "count_readings")["read_at"]]
    assert minutes == [(0, 0), (0, 30), (1, 0), (2, 0)]


def test_the_plain_layout_knows_no_hour_24(folder):
    result = read_text(folder, "count_readings.csv", f"{HEAD}1,2026-03-02T24:00:00,7\n", now=NOW)
    assert outcome(folder, result) == (None, "bad_time")


def test_the_rows_that_a_change_of_the_clock_touches_are_listed(folder):
    lines = [f"1,{wall},7\n" for zone, wall, *_ in CASES if zone == "Europe/Dublin"]
    (folder / "count_readings.csv").write_text(HEAD + "".join(lines))
    rules = folder.parent / "site.toml"
    report = check([folder], site=None, rules_path=rules, profile_path=None, mask=False, now=NOW)
    told = [(found.row, found.rule) for found in report.findings if found.row]
    assert told == [(3, GAP), (4, GAP), (7, FOLD), (8, FOLD)]


@pytest.mark.parametrize("started", ["2026-10-24T22:00", "2026-10-24T21:00Z", "2026-10-24T23:00+0200"])
def test_a_duration_is_time_that_went_by(folder, started):
    """Five hours from 22:00, before the clock goes back, end at 02:00 on the wall."""
    profile = folder.parent / "profile.toml"
    profile.write_text(
        'name = "s"\ntable = "usage_sessions"\nfiles = ["s*"]\n'
        '[durations]\nended_at = { column = "Lasted", unit = "h:mm" }\n'
    )
    text = f"unit_id,started_at,Lasted,mean_flow_l_min\n1,{started},5:00,30\n"
    read_text(folder, "s.csv", text, profile_path=profile, now=NOW)
    ended = datetime.datetime(2026, 10, 25, 2, 0)
    assert stored(folder, "usage_sessions").select("started_at", "ended_at").rows() == [
        (datetime.datetime(2026, 10, 24, 21, 0), ended)
    ]
