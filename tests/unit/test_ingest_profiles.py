"""Profiles are strict: a wrong word is refused with the right one."""

import pytest

from pipeline.errors import UsageError
from pipeline.ingest.profiles import load_profile, load_profiles, profile_for


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("usage_samples.csv", "usage_samples"),
        ("usage_samples_2026-03.csv", "usage_samples"),
        ("UNITS.CSV", "units"),
        ("units_tarnholt.csv", "units"),
        ("unit_status.csv", "unit_status"),
        ("usage_samples.csv.bak", None),
        ("my_units.csv", None),
        ("units2.csv", None),
    ],
)
def test_the_plain_profile_knows_tables_by_file_name(name, table):
    assert load_profile(None).table_of(name) == table


def test_a_profile_of_one_table(tmp_path):
    path = tmp_path / "profile.toml"
    path.write_text('name = "log"\ntable = "usage_samples"\nfiles = ["log*.txt"]\ndelimiter = ";"\n')
    profile = load_profile(path)
    assert (profile.table_of("log_1.txt"), profile.table_of("units.csv")) == ("usage_samples", None)


ONE = 'name = "x"\nfiles = ["a.csv"]\ntable = "units"\n'
SESSIONS = ONE.replace("units", "usage_sessions")
CYCLES = ONE.replace("units", "disinfections")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('name = "x"\nfiles = ["{table}.csv"]\ndelimeter = ";"', "Did you mean 'delimiter'?"),
        ('files = ["{table}.csv"]', "'name' is missing"),
        ('name = "x"\nfiles = []', "'files' must be a list"),
        ('name = "x"\nfiles = ["a.csv"]', "name the 'table'"),
        ('name = "x"\nfiles = ["a.csv"]\ntable = "unit"', "Did you mean 'units'?"),
        ('name = "x"\nfiles = ["{table}.csv"]\ndelimiter = ";;"', "'delimiter' must be one"),
        ('name = "x"\nfiles = ["{table}.csv"]\n[columns]\nunit = "Device"', "Did you mean 'unit_id'?"),
        ("name = ", "not a TOML file"),
        (f'{ONE}format = "xls"', "'format' is 'xls'; it must be one of"),
        (f'{ONE}format = "xlsx"', "'sheet' is missing"),
        (f'{ONE}sheet = "S"', "only a workbook"),
        (f'{ONE}format = "parquet"\ncompression = "gzip"', "compressed in themselves"),
        (f'{ONE}encoding = "utf8"', "Did you mean 'utf-8'?"),
        (f'{ONE}decimal = ","\nthousands = ","', "the same mark"),
        (f'{ONE}time_zone = "Europe/Dubln"', "no IANA zone"),
        (f'{ONE}time_formats = ["%d/%m/%Y"]', "no hour and minute"),
        (f'{ONE}date_formats = ["%d/%m/%Y %H:%M"]', "a date has none"),
        (f'{ONE}time_formats = ["%d/%q/%Y %H:%M"]', "%q"),
        (f"{ONE}time_formats = []", "'time_formats' is empty"),
        (f'{ONE}footers = ["("]', "no regular expression"),
        (f'{ONE}footers = "x"', "list of texts"),
        (f'{ONE}exported_at = "x"', "one pair of round brackets"),
        (f'{ONE}replaces = "all"', "'replaces' is 'all'"),
        (f'{ONE}[columns]\nunit_id = ["a", "b", "c"]', "[columns] 'unit_id' must be"),
        (f'{ONE}[columns]\nunit_id = ["a", "b"]', "only an instant can stand in two columns"),
        (f'{ONE}[columns]\nunit_id = "a"\n[constants]\nunit_id = "b"', "only one of them"),
        (f'{ONE}[units]\nflow_l_min = "L/s"', "unknown column 'flow_l_min'"),
        (f'{SESSIONS}[units]\nmean_flow_l_min = "degF"', "leads to columns in _c"),
        (f'{SESSIONS}[units]\nmean_flow_l_min = "gal"', "must be converted from one of"),
        (f'{SESSIONS}[durations]\nstarted_at = {{ column = "x", unit = "h" }}', "is not the end"),
        (
            f'{SESSIONS}[durations]\nended_at = {{ column = "x", unit = "week" }}',
            "[durations] 'ended_at' must",
        ),
        (f'{SESSIONS}[references]\nunit_id = ["zeros"]', "must be a list of strip_zeros"),
        (f'{CYCLES}[codes.outcome]\n"ok" = "pased"', "'pased', which is none of passed"),
        (f'{CYCLES}[codes.status_tagged]\n"x" = "maybe"', "none of true, false"),
        (f'{CYCLES}[wide]\nday = "started_at"\nvalue = "outcome"\nday_format = "%d.%m.%Y"', "time of day"),
        (f'{CYCLES}[wide]\nday = "outcome"\nvalue = "outcome"\nday_format = "iso"', "no date or instant"),
        (
            f'{CYCLES}[wide]\nday = "started_at"\nvalue = "started_at"\nday_format = "%d.%m."',
            "day, month and year",
        ),
        (f'{CYCLES}[wide]\nday = "started_at"\nmonth = "x"', "'value' is missing"),
        (f'{CYCLES}[wide]\nday = "started_at"\nmonth = "x"', "go together"),
        (f'{CYCLES}wide = "x"', "[wide] must be a table"),
        ('name = "x"\nfiles = ["{table}.csv"]\n[constants]\nunit_id = "1"', "needs the one 'table'"),
    ],
)
def test_faults_are_named(tmp_path, text, words):
    path = tmp_path / "profile.toml"
    path.write_text(text)
    with pytest.raises(UsageError) as error:
        load_profile(path)
    assert words in str(error.value)
    assert "profile.toml" in str(error.value)


def test_all_faults_are_named_together(tmp_path):
    path = tmp_path / "profile.toml"
    path.write_text("files = []\ndelimiter = 3\n")
    with pytest.raises(UsageError) as error:
        load_profile(path)
    assert len(str(error.value).splitlines()) == 3


def test_a_folder_of_profiles_names_every_fault_of_every_one(tmp_path):
    (tmp_path / "a.toml").write_text("files = 3")
    (tmp_path / "b.toml").write_text(ONE + "delimter = ';'")
    with pytest.raises(UsageError) as error:
        load_profiles(tmp_path)
    assert [word for word in ("a.toml", "b.toml", "delimiter") if word not in str(error.value)] == []


def test_a_folder_without_profiles(tmp_path):
    with pytest.raises(UsageError, match="holds no profile"):
        load_profiles(tmp_path)


def test_two_profiles_may_not_claim_one_file(tmp_path):
    (tmp_path / "a.toml").write_text(ONE)
    (tmp_path / "b.toml").write_text(ONE.replace('"x"', '"y"'))
    with pytest.raises(UsageError, match=r"A\.csv: its name fits the profiles 'x' and 'y'"):
        profile_for("A.csv", load_profiles(tmp_path))


def test_a_profile_that_is_not_there(tmp_path):
    with pytest.raises(UsageError, match="cannot read the profile"):
        load_profile(tmp_path / "none.toml")
