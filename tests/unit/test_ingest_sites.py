"""Which site a row belongs to, and by which rules it is read."""

import pytest
from ingest_rows import new_folder, read, read_text, store_of, stored

from pipeline.errors import UsageError
from pipeline.store.kept_rules import kept_text

UNITS = "unit_id\n1\n"
WITH_SITE = "unit_id,site_id\n1,{}\n"
CHECKS = (
    "unit_id,site_id,checked_at,step,result\n1,TARN,2026-03-02T08:00,a,done\n1,FELL,2026-03-02T08:00,a,done\n"
)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    return new_folder(tmp_path, monkeypatch)


def sites(folder, table="units"):
    return stored(folder, table)["site_id"].to_list()


def test_the_rules_name_the_site(folder):
    read_text(folder, "units.csv", UNITS)
    assert sites(folder) == ["TARN"]


def test_the_command_names_the_site_where_the_rules_do_not(folder):
    (folder.parent / "site.toml").write_text('time_zone = "UTC"\n')
    read_text(folder, "units.csv", UNITS, site=" FELL ")
    assert sites(folder) == ["FELL"]
    assert kept_text(store_of(folder), "FELL") == 'time_zone = "UTC"\n'


@pytest.mark.parametrize("site", ["default", "@all"])
def test_a_site_may_have_any_name(folder, site):
    (folder.parent / "site.toml").write_text('time_zone = "UTC"\n')
    (folder.parent / "own.toml").write_text('time_zone = "Asia/Tokyo"\n')
    read_text(folder, "units.csv", UNITS, site=site, rules_path=folder.parent / "own.toml")
    (folder / "units_2.csv").write_text(WITH_SITE.format("FELL"))
    result = read(folder, folder / "units_2.csv", rules_path=None).files[0]
    assert "'FELL', which has no rules" in result.refused
    assert "Tokyo" in kept_text(store_of(folder), site)


def test_a_files_own_column_comes_first(folder):
    (folder.parent / "site.toml").write_text('time_zone = "UTC"\n')
    read_text(folder, "units.csv", WITH_SITE.format("FELL"))
    read_text(folder, "units_2.csv", "unit_id,site_id\n3,FELL\n2,\n", site="TARN")
    assert sorted(sites(folder)) == ["FELL", "FELL", "TARN"]


def test_the_case_of_a_sites_name_does_not_matter(folder):
    read_text(folder, "units.csv", WITH_SITE.format("tarn"))
    read_text(folder, "units_2.csv", "unit_id\n2\n", site="Tarn")
    assert sites(folder) == ["TARN", "TARN"]


def test_the_rules_given_once_are_kept(folder):
    read_text(folder, "units.csv", UNITS)
    read_text(folder, "units_2.csv", "unit_id\n2\n", rules_path=None)
    assert sites(folder) == ["TARN", "TARN"]


def test_each_site_has_its_own_clock(folder):
    read_text(folder, "units.csv", UNITS)
    fell = folder.parent / "fell.toml"
    fell.write_text('site_id = "FELL"\ntime_zone = "Asia/Tokyo"\n')
    read_text(folder, "setup_checks.csv", CHECKS, rules_path=fell)
    hours = stored(folder, "setup_checks").sort("site_id")["checked_at"].dt.to_string("%d %H").to_list()
    assert hours == ["01 23", "02 08"]
    assert "Dublin" in kept_text(store_of(folder), "TARN")
    assert "Tokyo" in kept_text(store_of(folder), "FELL")


def test_a_site_without_rules_is_refused_with_its_file(folder):
    result = read_text(folder, "units.csv", WITH_SITE.format("FELL"))
    assert "'FELL'" in result.refused
    assert "--rules" in result.refused


def test_without_any_rules_the_way_to_give_them_is_told(folder):
    (folder / "units.csv").write_text(UNITS)
    with pytest.raises(UsageError, match=r"--rules site\.toml"):
        read(folder, rules_path=None)


def test_without_any_site_the_way_to_name_it_is_told(folder):
    (folder.parent / "site.toml").write_text('time_zone = "UTC"\n')
    (folder / "units.csv").write_text(UNITS)
    with pytest.raises(UsageError, match="--site"):
        read(folder)


def test_the_command_and_the_rules_may_not_name_two_sites(folder):
    (folder / "units.csv").write_text(UNITS)
    with pytest.raises(UsageError, match=r"'FELL'.*'TARN'"):
        read(folder, site="FELL")


def test_a_rules_file_in_the_folder_is_not_read(folder):
    (folder / "site.toml").write_text('site_id = "FELL"\ntime_zone = "Asia/Tokyo"\n')
    (folder / "units.csv").write_text(UNITS)
    assert read(folder).passed_over == ("site.toml",)
    assert sites(folder) == ["TARN"]


def test_the_same_content_of_a_second_site_does_not_take_the_firsts_place(folder):
    read_text(folder, "units.csv", UNITS)
    fell = folder.parent / "fell.toml"
    fell.write_text('site_id = "FELL"\ntime_zone = "UTC"\n')
    again = read_text(folder, "units.csv", UNITS, rules_path=fell)
    assert "table units, site TARN" in again.refused
    assert sites(folder) == ["TARN"]
