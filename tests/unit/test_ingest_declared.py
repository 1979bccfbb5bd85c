"""Exports as hospitals have them, read by what their profile declares."""

import datetime
import gzip
import io
import json
import zipfile

import polars as pl
import pyarrow as pa
import pytest
from ingest_rows import new_folder, quarantine_of, raw_of, read_text, store_of, stored
from ingest_rows import read as read_folder
from workbooks import workbook

from pipeline.ingest.quarantine import listing
from pipeline.store.ledger import entries

SAMPLES = 'name = "log"\ntable = "usage_samples"\nfiles = ["log*"]\n'
NAMES = '[columns]\nunit_id = "Gerät"\nsampled_at = "Zeit"\nflow_l_min = "Fluss"\nphase = "Betrieb"\n'
PHASES = '[codes.phase]\n"Therapie" = "in_use"\n"Aus" = "off"\n'
CHANGES = 'name = "book"\ntable = "part_changes"\nfiles = ["book*"]\n'
UNITS = 'name = "u"\ntable = "units"\nfiles = ["u*"]\n'
COUNTS = 'name = "c"\ntable = "count_readings"\nfiles = ["c*"]\n'
SESSIONS = 'name = "s"\ntable = "usage_sessions"\nfiles = ["s*"]\n'
LASTED = '[durations]\nended_at = {{ column = "Lasted", unit = "{}" }}\n'
COUNTED = "unit_id,read_at,cycle_count\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    return new_folder(tmp_path, monkeypatch)


def read(folder, profile, name, content):
    path = folder.parent / "profile.toml"
    path.write_text(profile, "utf-8")
    return read_text(folder, name, content, profile_path=path)


def values(folder, table, *columns):
    return stored(folder, table).select(*columns).rows()


def at(text):
    return datetime.datetime.fromisoformat(text)


GERMAN = "Protokoll;;;\n\nGerät;Zeit;Fluss;Betrieb\n007;02.03.2026 08:05;1.030,5;Therapie\n"


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1", "cp1250"]
)
def test_text_in_its_declared_encoding_delimiter_marks_and_format(folder, encoding):
    declared = f'encoding = "{encoding}"\ndelimiter = ";"\ndecimal = ","\nthousands = "."\n'
    times = 'time_formats = ["%d.%m.%Y %H:%M"]\n[units]\nflow_l_min = "mL/min"\n'
    result = read(folder, SAMPLES + declared + times + NAMES + PHASES, "log.csv", GERMAN.encode(encoding))
    assert (result.refused, result.accepted) == (None, 1)
    told = values(folder, "usage_samples", "unit_id", "sampled_at", "flow_l_min", "phase", "source_row")
    assert told == [("007", at("2026-03-02 08:05"), 1.0305, "in_use", 4)]


def test_tabs_and_another_quote_mark(folder):
    profile = UNITS + 'format = "tsv"\nquote = "\'"\n'
    read(folder, profile, "u.txt", "unit_id\tward\n1\t'Al\tder'\n2\tthe \"old\" wing\n")
    assert values(folder, "units", "unit_id", "ward") == [("1", "Al\tder"), ("2", 'the "old" wing')]


def test_without_a_quote_mark_quotes_are_text(folder):
    read(folder, UNITS + 'quote = ""\n', "u.txt", 'unit_id,ward\n1,"Al\n2,Birch\n')
    assert values(folder, "units", "ward") == [('"Al',), ("Birch",)]


def packed(kind, text):
    if kind == "gzip":
        return gzip.compress(text, mtime=0)
    if kind == "zstd":
        sink = pa.BufferOutputStream()
        with pa.CompressedOutputStream(sink, "zstd") as stream:
            stream.write(text)
        return bytes(sink.getvalue())
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr("u.csv", text)
    return made.getvalue()


@pytest.mark.parametrize("kind", ["gzip", "zstd", "zip"])
def test_a_packed_table(folder, kind):
    profile = f'{UNITS}compression = "{kind}"\n'
    result = read(folder, profile, "u.csv.z", packed(kind, b"unit_id,ward\n1,Alder\n"))
    assert (result.refused, result.accepted) == (None, 1)
    assert read(folder, profile, "u2.csv", "unit_id\n1\n").refused


def test_a_packed_file_is_not_read_as_text(folder):
    assert "gzip" in read(folder, UNITS, "u.csv", packed("gzip", b"unit_id\n1\n")).refused


def test_lines_of_json_keep_numbers_as_they_are_written(folder):
    lines = [{"unit_id": "007", "ward": "Alder"}, {"unit_id": 7.1, "x": 1}, {"ward": None, "unit_id": True}]
    text = "\n".join(map(json.dumps, lines)).replace("7.1", "7.10") + "\n\n"
    result = read(folder, UNITS + 'format = "jsonl"\n', "u.jsonl", text)
    assert (result.rows_read, result.accepted, result.skipped) == (4, 3, 1)
    assert values(folder, "units", "unit_id", "source_row") == [("007", 1), ("7.10", 2), ("true", 3)]


@pytest.mark.parametrize(
    "line", ["[1]", "{", '{"unit_id": {"a": 1}}', '{"a": 1, "a": 2}', "[" * 100_000],
    ids=["list", "cut off", "nested", "a name twice", "deep"],
)  # fmt: skip
def test_a_line_that_is_no_flat_object_refuses_the_file(folder, line):
    result = read(folder, UNITS + 'format = "jsonl"\n', "u.jsonl", '{"unit_id": "1"}\n' + line)
    assert result.refused.startswith("row 2 ")


def test_parquet(folder):
    made = io.BytesIO()
    columns = {
        "unit_id": ["007", "007"],
        "read_at": [at("2026-03-02 08:05:09.7"), None],
        "cycle_count": [7.0, 8.0],
    }
    zoned = pl.col("read_at").dt.replace_time_zone("Asia/Tokyo")
    pl.DataFrame(columns).with_columns(zoned).write_parquet(made)
    result = read(folder, COUNTS + 'format = "parquet"\n', "c.parquet", made.getvalue())
    assert (result.accepted, result.reasons) == (1, {"missing_value": 1})
    assert values(folder, "count_readings", "read_at", "cycle_count") == [(at("2026-03-01 23:05:09"), 7)]


BOOK = (
    "[columns]\nunit_id = 'Unit'\npart = 'What'\nfitted_at = ['Day', 'Clock']\nlot = 'Lot'\n"
    "[codes.part]\nTubing = 'circuit'\n"
)


def test_a_sheet_with_title_rows_footers_and_blank_rows(folder):
    rows = [
        ["Tarnholt", None, None, None, None],
        ["Exported:", datetime.datetime(2026, 4, 1, 6, 30), None, None, None],
        [None] * 5,
        ["Unit", "Day", "Clock", "What", "Lot"],
        ["00712", datetime.date(2026, 3, 2), datetime.time(8, 5), "tubing", "L1"],
        [None] * 5,
        [712, datetime.date(2026, 3, 3), "9:05", "Tubing", 12],
        ["Total", None, None, 2, None],
    ]
    profile = (
        CHANGES + 'format = "xlsx"\nsheet = "log"\nfooters = ["^Total"]\nexported_at = "Exported: (.+)"\n'
    )
    profile += 'time_formats = ["%Y-%m-%d %H:%M"]\n'
    content = workbook(("Notes", [["x"]]), ("Log", rows))
    result = read(folder, profile + BOOK, "book.xlsx", content)
    assert (result.refused, result.rows_read, result.accepted, result.skipped) == (None, 4, 2, 2)
    told = values(folder, "part_changes", "unit_id", "fitted_at", "part", "lot", "source_row")
    assert told == [
        ("00712", at("2026-03-02 08:05"), "circuit", "L1", 5),
        ("712", at("2026-03-03 09:05"), "circuit", "12", 7),
    ]
    assert entries(store_of(folder))[0].exported_at == "2026-04-01T05:30:00Z"


@pytest.mark.parametrize("quote", ["", '"'])
def test_footers_of_text_are_skipped_and_counted(folder, quote):
    text = f"unit_id,ward\n{quote}1{quote},Alder\n,Total 1,\nTotal: 1\n"
    result = read(folder, UNITS + 'footers = ["^Total"]\n', "u.csv", text)
    assert (result.rows_read, result.accepted, result.skipped) == (3, 1, 2)


def test_day_and_time_of_day_must_both_be_said(folder):
    text = "Unit,Day,Clock,What,Lot\n1,2026-03-02,,Tubing,L\n1,,08:00,Tubing,L\n1,,,Tubing,L\n"
    assert read(folder, CHANGES + BOOK, "book.csv", text).accepted == 0
    assert quarantine_of(folder) == [(2, "bad_time"), (3, "bad_time"), (4, "missing_value")]
    assert raw_of(folder)[1]["fitted_at.time"] == "08:00"


@pytest.mark.parametrize(
    ("unit", "lasted", "end"),
    [
        ("h:mm", "1:30", "2026-03-02 09:30"),
        ("h:mm", "26:05", "2026-03-03 10:05"),
        ("h:mm:ss", "0:00:59", "2026-03-02 08:00:59"),
        ("min", "90", "2026-03-02 09:30"),
        ("h", "1.5", "2026-03-02 09:30"),
        ("s", "61", "2026-03-02 08:01:01"),
        ("d", "1", "2026-03-03 08:00"),
    ],
)
def test_a_duration_in_place_of_an_end(folder, unit, lasted, end):
    text = f"unit_id,started_at,Lasted,mean_flow_l_min\n1,2026-03-02T08:00Z,{lasted},30\n"
    assert read(folder, SESSIONS + LASTED.format(unit), "s.csv", text).accepted == 1
    assert values(folder, "usage_sessions", "ended_at") == [(at(end),)]


@pytest.mark.parametrize(("lasted", "end"), [("1,5", "2026-03-02 09:30"), ("1.440,0", "2026-05-01 08:00")])
def test_a_duration_is_written_with_the_marks_of_all_numbers(folder, lasted, end):
    marks = 'delimiter = ";"\ndecimal = ","\nthousands = "."\n'
    text = f"unit_id;started_at;Lasted;mean_flow_l_min\n1;2026-03-02T08:00Z;{lasted};30\n"
    assert read(folder, SESSIONS + marks + LASTED.format("h"), "s.csv", text).accepted == 1
    assert values(folder, "usage_sessions", "ended_at") == [(at(end),)]


def test_a_duration_that_cannot_be_read_is_no_missing_end(folder):
    text = "unit_id,started_at,Lasted,mean_flow_l_min\n1,2026-03-02T08:00Z,1:60,30\n1,2026-03-02T08:00Z,,30\n"
    read(folder, SESSIONS + LASTED.format("h:mm"), "s.csv", text)
    assert quarantine_of(folder) == [(2, "bad_time"), (3, "missing_value")]


def test_durations_in_a_workbook(folder):
    rows = [
        ["unit_id", "started_at", "Lasted", "mean_flow_l_min"],
        ["1", datetime.datetime(2026, 3, 2, 8), datetime.timedelta(hours=26, minutes=5), 30],
        ["2", datetime.datetime(2026, 3, 2, 8), datetime.timedelta(minutes=5), 30],
    ]
    profile = f'{SESSIONS}format = "xlsx"\nsheet = "S"\n{LASTED.format("h:mm")}'
    assert read(folder, profile, "s.xlsx", workbook(("S", rows))).accepted == 2
    told = values(folder, "usage_sessions", "ended_at")
    assert told == [(at("2026-03-03 10:05"),), (at("2026-03-02 08:05"),)]


@pytest.mark.parametrize(
    ("system", "serial"), [("serial_1900", "46083.3367824"), ("serial_1904", "44621.3367824")]
)
def test_serial_numbers_of_days(folder, system, serial):
    """Excel shows 46083 as 2026-03-02 in the 1900 system; the 1904 system counts 1462 days less."""
    read(folder, f'{COUNTS}time_formats = ["{system}"]\n', "c.csv", f"{COUNTED}1,{serial},7\n")
    assert values(folder, "count_readings", "read_at") == [(at("2026-03-02 08:04:58"),)]


def test_a_workbook_that_counts_from_1904(folder):
    rows = [["unit_id", "read_at", "cycle_count"], ["1", datetime.datetime(2026, 3, 2, 8, 5), 7]]
    content = workbook(("S", rows), date_1904=True)
    read(folder, COUNTS + 'format = "xlsx"\nsheet = "S"\n', "c.xlsx", content)
    assert values(folder, "count_readings", "read_at") == [(at("2026-03-02 08:05"),)]


@pytest.mark.parametrize(
    ("column", "unit", "said", "kept"),
    [
        ("flow_l_min", "L/s", "0.5", 30),
        ("flow_l_min", "L/h", "1800", 30),
        ("flow_l_min", "mL/min", "30000", 30),
        ("dew_point_c", "degF", "98.6", 37),
        ("oxygen_pct", "fraction", ".21", 21),
    ],
)
def test_units_are_converted(folder, column, unit, said, kept):
    said_of = {"flow_l_min": "30", "dew_point_c": "37", "oxygen_pct": "21"} | {column: said}
    head, row = ",".join(said_of), ",".join(said_of.values())
    text = f"unit_id,sampled_at,phase,{head}\n1,2026-03-02T08:00Z,in_use,{row}\n"
    read(folder, f'{SAMPLES}[units]\n{column} = "{unit}"\n', "log.csv", text)
    assert values(folder, "usage_samples", column) == [(kept,)]


def test_a_litre_of_water_and_constants(folder):
    profile = CHANGES + '[constants]\npart = "water_bag"\n[units]\nvolume_ml = "L"\n'
    read(folder, profile, "book.csv", "unit_id,fitted_at,volume_ml,lot\n1,2026-03-02T08:00Z,2,L\n")
    assert values(folder, "part_changes", "part", "volume_ml") == [("water_bag", 2000)]


def test_texts_that_mean_nothing(folder):
    read(folder, UNITS + 'empty = ["-", "n/a"]\n', "u.csv", "unit_id,ward\n1,-\n2, n/a \n-,Alder\n")
    assert values(folder, "units", "unit_id", "ward") == [("1", None), ("2", None)]
    assert quarantine_of(folder) == [(4, "missing_value")]


def test_codes_are_met_whatever_their_case_and_others_stay(folder):
    read(folder, UNITS + "[codes.ward]\nC3 = 'Alder'\n", "u.csv", "unit_id,ward\n1,c3\n2,Birch\n")
    assert values(folder, "units", "ward") == [("Alder",), ("Birch",)]


def test_references_are_normalised_before_they_are_hidden(folder):
    profile = 'name = "m"\ntable = "episodes"\nfiles = ["m*"]\n[references]\n'
    profile += 'patient_ref = ["remove_spaces", "remove_dashes", "strip_zeros"]\nunit_id = ["strip_zeros"]\n'
    text = "patient_ref,unit_id,ward,started_at,ended_at\n"
    for row, said in enumerate(["0070 1", "701", "7-01", "0"]):
        text += f"{said},00{row},A,2026-03-0{row + 1}T08:00Z,2026-03-0{row + 1}T09:00Z\n"
    read(folder, profile, "m.csv", text)
    told = values(folder, "episodes", "patient_key", "unit_id")
    assert [key == told[1][0] for key, _ in told] == [True, True, True, False]
    assert [unit for _, unit in told] == ["0", "1", "2", "3"]


def test_the_profiles_own_zone_and_offsets_beside_each_other(folder):
    formats = '["%d/%m/%Y %H:%M", "%d/%m/%Y %H:%M %z", "iso"]'
    said = ["02/03/2026 08:00", "02/03/2026 08:00 +01:00", "2026-03-02T08:00:00-0530", "2/3/2026 8:00:07"]
    text = COUNTED + "".join(f"{row},{time},7\n" for row, time in enumerate(said))
    read(folder, f'{COUNTS}time_zone = "Asia/Tokyo"\ntime_formats = {formats}\n', "c.csv", text)
    assert values(folder, "count_readings", "read_at") == [
        (at("2026-03-01 23:00"),),
        (at("2026-03-02 07:00"),),
        (at("2026-03-02 13:30"),),
        (at("2026-03-01 23:00:07"),),
    ]


@pytest.mark.parametrize(
    ("said", "meant"), [("28/02/2026 24:00", "2026-03-01 00:00"), ("31/12/2025 24:00:00", "2026-01-01 00:00")]
)
def test_midnight_at_the_end_of_a_day(folder, said, meant):
    profile = COUNTS + 'time_formats = ["%d/%m/%Y %H:%M"]\n'
    read(folder, profile, "c.csv", f"{COUNTED}1,{said},7\n2,28/02/2026 24:01,7\n")
    assert values(folder, "count_readings", "read_at") == [(at(meant),)]
    assert quarantine_of(folder) == [(3, "bad_time")]


WIDE = 'name = "w"\nfiles = ["w*"]\n'


def test_a_logbook_with_a_column_for_each_day_of_a_titles_month(folder):
    rows = [
        ["Cycle counter, March 2026", None, None, None, None],
        ["Unit", "1", "2", 3, "Remarks"],
        ["007", 4, None, 5, "fine"],
        ["008", None, None, "x", None],
        [None] * 5,
    ]
    profile = WIDE + 'table = "count_readings"\nformat = "xlsx"\nsheet = "M"\n[columns]\nunit_id = "Unit"\n'
    profile += '[wide]\nday = "read_at"\nvalue = "cycle_count"\nclock = "12:00"\nday_format = "%d"\n'
    profile += 'month = "([A-Z][a-z]+ 20..)"\nmonth_format = "%B %Y"\n'
    result = read(folder, profile, "w.xlsx", workbook(("M", rows)))
    assert (result.refused, result.rows_read, result.accepted, result.skipped) == (None, 3, 2, 0)
    told = values(folder, "count_readings", "unit_id", "read_at", "cycle_count", "source_row")
    assert told == [
        ("007", at("2026-03-01 12:00"), 4, 3_000_002),
        ("007", at("2026-03-03 12:00"), 5, 3_000_004),
    ]
    assert quarantine_of(folder) == [(4_000_004, "bad_number")]


def test_a_logbook_whose_cells_are_times_of_day(folder):
    profile = WIDE + 'table = "part_changes"\n[constants]\npart = "circuit"\n'
    profile += '[wide]\nday = "fitted_at"\nvalue = "fitted_at"\nday_format = "%d/%m/%Y"\n'
    read(folder, profile, "w.csv", "unit_id,02/03/2026,03/03/2026\n1,08:05,\n2,,9:10\n")
    told = values(folder, "part_changes", "unit_id", "fitted_at")
    assert told == [("1", at("2026-03-02 08:05")), ("2", at("2026-03-03 09:10"))]


def test_a_logbook_of_counts_by_day(folder):
    profile = WIDE + 'table = "ward_census"\n'
    profile += '[wide]\nday = "counted_on"\nvalue = "patients"\nday_format = "%d/%m/%Y"\n'
    read(folder, profile, "w.csv", "ward,02/03/2026,03/03/2026\nAlder,4,5\n")
    told = values(folder, "ward_census", "counted_on", "patients")
    assert told == [(datetime.date(2026, 3, 2), 4), (datetime.date(2026, 3, 3), 5)]


def test_a_day_that_the_month_does_not_have_is_no_day(folder):
    profile = WIDE + 'table = "ward_census"\n[wide]\nday = "counted_on"\nvalue = "patients"\n'
    profile += 'day_format = "%d"\nmonth = "^(.+)$"\nmonth_format = "%m/%Y"\n'
    read(folder, profile, "w.csv", "02/2026\nward,28,29\nAlder,4,5\n")
    assert values(folder, "ward_census", "counted_on") == [(datetime.date(2026, 2, 28),)]


def test_a_formula_that_failed_is_no_name_and_no_number(folder):
    good = "2026-03-02T08:00"
    rows = [["unit_id", "read_at", "cycle_count"], ["=#REF!", good, 7], ["1", good, "=1+1"]]
    read(folder, COUNTS + 'format = "xlsx"\nsheet = "S"\n', "c.xlsx", workbook(("S", rows)))
    assert quarantine_of(folder) == [(2, "missing_value"), (3, "bad_number")]


@pytest.mark.parametrize(
    ("declared", "text", "words"),
    [
        (
            'time_formats = ["%m/%d/%Y %H:%M"]',
            COUNTED + "1,03/04/2026 08:00,7\n1,13/04/2026 08:00,7\n",
            ["row 3", "'read_at'", "day and month"],
        ),
        (
            'thousands = ","',
            COUNTED + '1,2026-03-02T08:00,"1,234"\n1,2026-03-02T09:00,"1.234,5"\n',
            ["row 3", "'cycle_count'", "decimal mark"],
        ),
        ('encoding = "cp1252"', COUNTED + "Zoë,2026-03-02T08:00,7\n", ["row 2 is UTF-8"]),
        ('encoding = "utf-16"', COUNTED, ["utf-16"]),
        ('delimiter = ";"', COUNTED + "1,2026-03-02T08:00,7\n", ["no row holds", "row 1"]),
        ('exported_at = "Made (.+)"', "Report\n" + COUNTED, ["time of the export"]),
        ('[columns]\nunit_id = "Unit"', "Unti,read_at,cycle_count\n", ["Unit", "Did you mean 'Unti'?"]),
        ('[columns]\nexported_at = "Made"', COUNTED, ["missing column(s) Made"]),
        ('format = "xlsx"\nsheet = "S"', COUNTED, ["no workbook"]),
        ('format = "parquet"', COUNTED, ["no Parquet"]),
    ],
    ids=lambda said: said.split("\n")[0] if isinstance(said, str) else "",
)
def test_a_file_that_contradicts_its_profile_is_refused_with_the_evidence(folder, declared, text, words):
    result = read(folder, f"{COUNTS}{declared}\n", "c.csv", text)
    assert result.refused is not None
    assert [word for word in words if word not in result.refused] == []
    assert result.rows_read == 0


def test_day_and_month_apart_from_the_time_of_day_may_contradict_too(folder):
    profile = f"{COUNTS}time_formats = ['%m/%d/%Y %H:%M']\n[columns]\nread_at = ['Day', 'Time']\n"
    result = read(folder, profile, "c.csv", "unit_id,Day,Time,cycle_count\n1,13/04/2026,08:00,7\n")
    assert "row 2, column 'Day'" in result.refused


def test_one_wrong_date_is_only_that(folder):
    profile = f"{COUNTS}time_formats = ['%d/%m/%Y %H:%M']\n"
    text = COUNTED + "1,31/02/2026 08:00,7\n1,3.4.2026 08:00,7\n1,02/03/2026 08:00,7\n"
    assert read(folder, profile, "c.csv", text).accepted == 1
    assert quarantine_of(folder) == [(2, "bad_time"), (3, "bad_time")]


def test_a_file_is_read_again_when_its_profile_has_changed(folder):
    profile = f"{COUNTS}time_formats = ['%d/%m/%Y %H:%M']\n"
    text = COUNTED + "1,02/03/2026 08:00,7\n"
    read(folder, profile, "c.csv", text)
    assert not read(folder, profile + 'time_zone = "Asia/Tokyo"\n', "c.csv", text).known
    assert values(folder, "count_readings", "read_at") == [(at("2026-03-01 23:00"),)]


def test_an_export_that_replaces_its_window_says_so_in_the_ledger(folder):
    read(folder, COUNTS + 'replaces = "window"\n', "c.csv", COUNTED + "1,2026-03-02T08:00,7\n")
    assert entries(store_of(folder))[0].replaces_window


def test_a_folder_of_profiles_and_the_plain_layout_behind_them(folder):
    profiles = folder.parent / "profiles"
    profiles.mkdir()
    (profiles / "c.toml").write_text(COUNTS + 'delimiter = ";"\n')
    (profiles / "u.toml").write_text('name = "u"\ntable = "units"\nfiles = ["list*"]\n')
    (folder / "c.csv").write_text("unit_id;read_at;cycle_count\n1;2026-03-02T08:00;7\n")
    (folder / "list.csv").write_text("unit_id\n1\n")
    checks = "unit_id,checked_at,step,result\n1,2026-03-02T08:00,a,done\n"
    (folder / "setup_checks.csv").write_text(checks)
    read_folder(folder, profile_path=profiles)
    told = {entry.name: (entry.profile, entry.accepted) for entry in entries(store_of(folder))}
    assert told == {"list.csv": ("u", 1), "c.csv": ("c", 1), "setup_checks.csv": ("plain", 1)}


def test_a_patient_reference_of_a_declared_column_is_hidden_in_the_quarantine(folder):
    profile = 'name = "m"\ntable = "episodes"\nfiles = ["m*"]\n[columns]\npatient_ref = "MRN"\n'
    read(folder, profile, "m.csv", "MRN,unit_id,ward,started_at\nm-701,1,A,soon\n")
    assert "m-701" not in str(listing(store_of(folder)).rows())
    assert len(raw_of(folder)[0]["patient_ref"]) == 32
