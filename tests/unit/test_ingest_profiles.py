"""Profiles are strict: a wrong word is refused with the right one."""

import pytest

from pipeline.errors import UsageError
from pipeline.ingest.profiles import load_profile


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


def test_a_profile_that_is_not_there(tmp_path):
    with pytest.raises(UsageError, match="cannot read the profile"):
        load_profile(tmp_path / "none.toml")
