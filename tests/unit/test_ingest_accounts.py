"""What becomes of every row of a file, and of the file itself."""

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ingest_rows import new_folder, quarantine_of, raw_of, read, read_text, store_of, stored

from pipeline.errors import NothingToDo, UsageError
from pipeline.ingest.quarantine import listing
from pipeline.records import TABLES
from pipeline.store.columns import good_schema
from pipeline.store.keys import load_key, patient_key, recall, unseal
from pipeline.store.ledger import entries, quarantine_path

SAMPLES = "unit_id,sampled_at,flow_l_min,phase\n"
EPISODES = "patient_ref,unit_id,ward,started_at,ended_at\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    return new_folder(tmp_path, monkeypatch)


def account(result):
    return (result.rows_read, result.accepted, result.duplicates, result.skipped, result.quarantined)


def sample(minute, unit="001", flow="30"):
    return f"{unit},2026-03-02T08:{minute:02d}:00Z,{flow},in_use\n"


def test_every_row_of_a_file_has_one_fate(folder):
    text = SAMPLES + sample(0) + sample(1, flow="x") + "\n" + sample(0) + "001\n" + sample(2, unit="")
    result = read_text(folder, "usage_samples.csv", text)
    assert account(result) == (6, 1, 1, 1, 3)
    assert result.reasons == {"bad_number": 1, "missing_value": 2, "wrong_field_count": 1}
    assert quarantine_of(folder) == [
        (3, "bad_number"),
        (6, "missing_value,wrong_field_count"),
        (7, "missing_value"),
    ]


def test_a_row_too_short_for_a_required_column_misses_it(folder):
    read_text(folder, "usage_samples.csv", SAMPLES + "001,2026-03-02T08:00Z,30\n")
    assert quarantine_of(folder) == [(2, "missing_value,wrong_field_count")]


def test_a_row_too_short_for_an_optional_column_or_too_long_misses_nothing_required(folder):
    text = SAMPLES.replace("\n", ",oxygen_pct\n") + sample(0) + sample(0).strip() + ",40,more\n"
    read_text(folder, "usage_samples.csv", text)
    assert quarantine_of(folder) == [(2, "wrong_field_count"), (3, "wrong_field_count")]


def test_good_rows_are_stored_as_the_store_wants_them(folder):
    read_text(folder, "usage_samples.csv", SAMPLES + " 007 ,2026-03-02T08:00,30, IN_USE \n")
    rows = stored(folder, "usage_samples")
    assert rows.schema == good_schema(TABLES["usage_samples"])
    row = rows.row(0, named=True)
    assert (row["site_id"], row["unit_id"], row["phase"], row["source_row"]) == ("TARN", "007", "in_use", 2)
    assert row["warnings"] is None


def test_warnings_are_counted_and_stored(folder):
    text = EPISODES + "m-1,001,Alder,2026-03-02T08:00Z,\nm-2,001,Alder,2026-01-02T08:00Z,2026-04-02T08:00Z\n"
    result = read_text(folder, "episodes.csv", text)
    assert result.warnings == {"long_episode": 1, "missing_end": 1}
    assert stored(folder, "episodes")["warnings"].to_list() == ["missing_end", "long_episode"]


@pytest.mark.parametrize(("minute", "warned"), [(5, 0), (6, 1)])
def test_samples_more_than_5_minutes_against_the_files_order(folder, minute, warned):
    text = SAMPLES + sample(minute) + sample(0, unit="002") + sample(0)
    result = read_text(folder, "usage_samples.csv", text)
    assert result.warnings.get("out_of_order", 0) == warned


def test_units_that_the_sites_list_does_not_have(folder):
    (folder / "units.csv").write_text("unit_id\nA1\n")
    readings = "unit_id,read_at,cycle_count\na1,2026-03-02T08:00Z,7\nB2,2026-03-02T08:00Z,7\n"
    (folder / "count_readings.csv").write_text(readings)
    units, readings = read(folder).files
    assert (units.name, readings.warnings) == ("units.csv", {"unknown_unit": 1})
    assert stored(folder, "count_readings")["warnings"].to_list() == [None, None]


def test_without_a_list_of_units_none_is_unknown(folder):
    assert read_text(folder, "usage_samples.csv", SAMPLES + sample(0)).warnings == {}


def test_the_same_file_again_is_known_and_all_its_rows_are_duplicates(folder):
    head = SAMPLES.replace("\n", ",oxygen_pct\n")
    text = head + "".join(line.replace("\n", ",7\n") for line in (sample(0), sample(0), sample(1, flow="x")))
    assert read_text(folder, "usage_samples.csv", text).warnings == {"value_dropped": 1}
    again = read_text(folder, "usage_samples_copy.csv", text)
    assert again.known
    assert account(again) == (3, 0, 2, 0, 1)
    assert (again.reasons, again.warnings) == ({"bad_number": 1}, {})
    assert len(entries(store_of(folder))) == 1


def test_a_file_is_read_again_under_other_rules(folder):
    text = "unit_id,part,fitted_at,lot\n1,filter,2026-03-02T08:00,L\n1,circuit,2026-03-02T08:00,L\n"
    assert read_text(folder, "part_changes.csv", text).reasons == {"bad_code": 1}
    rules = folder.parent / "site.toml"
    rules.write_text(rules.read_text() + "[parts.filter]\nmax_days = 3\n")
    again = read_text(folder, "part_changes.csv", text)
    assert (again.known, again.accepted, again.quarantined) == (False, 2, 0)
    assert listing(store_of(folder)).is_empty()


def test_duplicates_and_corrections_against_other_files(folder):
    read_text(folder, "usage_samples_1.csv", SAMPLES + sample(0) + sample(1) + sample(2))
    result = read_text(folder, "usage_samples_2.csv", SAMPLES + sample(1) + sample(2, flow="31") + sample(3))
    assert account(result) == (3, 2, 1, 0, 0)
    assert result.corrected == 1
    assert stored(folder, "usage_samples").height == 6


def test_duplicates_are_found_whatever_the_case_of_identifiers(folder):
    first = "ab"
    read_text(folder, "usage_samples_1.csv", SAMPLES + sample(0, unit=first))
    result = read_text(folder, "usage_samples_2.csv", SAMPLES + sample(0, unit="AB") + sample(0, unit="aB"))
    assert account(result) == (2, 0, 2, 0, 0)


def test_the_same_key_with_other_values_in_one_file_is_a_correction(folder):
    result = read_text(folder, "usage_samples.csv", SAMPLES + sample(0) + sample(0, flow="31"))
    assert (result.accepted, result.corrected, result.duplicates) == (2, 1, 0)


def test_where_there_is_a_source_ref_it_is_the_key(folder):
    head = "source_ref," + SAMPLES
    text = head + "r1," + sample(0) + "R1," + sample(1) + "r2," + sample(0)
    result = read_text(folder, "usage_samples_1.csv", text)
    assert (result.accepted, result.corrected) == (3, 1)
    later = read_text(folder, "usage_samples_2.csv", head + "r2,001,2026-04-02T08:00Z,30,in_use\n")
    assert (later.accepted, later.corrected) == (1, 1)


def test_a_part_change_of_a_unit_is_the_same_whoever_its_patient_is(folder):
    head = "unit_id,patient_ref,part,fitted_at,lot\n"
    text = head + "1,m-1,circuit,2026-03-02T08:00Z,L\n1,m-2,circuit,2026-03-02T08:00Z,L\n"
    assert read_text(folder, "part_changes.csv", text).corrected == 1
    of_patients = head + ",m-1,interface,2026-03-02T08:00Z,L\n,m-2,interface,2026-03-02T08:00Z,L\n"
    assert read_text(folder, "part_changes_2.csv", of_patients).corrected == 0


def test_of_equal_rows_the_one_exported_last_is_kept(folder):
    head = "exported_at," + SAMPLES
    times = ["2026-03-03T08:00:00Z", "2026-03-05T08:00:00Z", "2026-03-04T08:00:00Z"]
    read_text(folder, "usage_samples.csv", head + "".join(f"{time},{sample(0)}" for time in times))
    assert stored(folder, "usage_samples")["source_row"].to_list() == [3]
    assert entries(store_of(folder))[0].exported_at == "2026-03-05T08:00:00Z"


def test_a_later_export_of_an_older_value_corrects_the_row_that_stands(folder):
    head = "exported_at," + SAMPLES
    for name, time, flow in (("a", "03", "30"), ("b", "04", "31")):
        read_text(folder, f"usage_samples_{name}.csv", head + f"2026-03-{time}T08:00Z,{sample(0, flow=flow)}")
    result = read_text(folder, "usage_samples_c.csv", head + "2026-03-05T08:00Z," + sample(0, flow="30"))
    assert (result.corrected, result.duplicates) == (1, 0)


def test_a_header_alone_is_an_empty_export(folder):
    result = read_text(folder, "usage_samples.csv", SAMPLES)
    assert account(result) == (0, 0, 0, 0, 0)
    assert result.refused is None


def test_a_refused_file_stands_in_the_ledger_and_the_others_go_on(folder):
    (folder / "episodes.csv").write_text("who,when\n")
    (folder / "usage_samples.csv").write_text(SAMPLES + sample(0))
    refused, accepted = read(folder).files
    assert refused.refused.startswith("row 1 is no header of episodes")
    assert accepted.accepted == 1
    assert [entry.refused is None for entry in entries(store_of(folder))] == [False, True]


def test_a_refused_file_may_be_tried_again(folder):
    assert read_text(folder, "u.csv", "unit_id\n1\n").refused.startswith("its name fits no table")
    assert read_text(folder, "units.csv", "unit_id\n1\n").accepted == 1


def test_undeclared_columns_are_named_and_never_stored(folder):
    text = "unit_id,nickname,sampled_at,flow_l_min,phase\n,Old Bess,2026-03-02T08:00Z,30,in_use\n"
    result = read_text(folder, "usage_samples.csv", text)
    assert result.undeclared_columns == ("nickname",)
    kept = b"".join(path.read_bytes() for path in folder.parent.rglob("store/**/*") if path.is_file())
    assert b"Old Bess" not in kept


def test_patient_references_stand_as_keys_and_sealed_in_the_quarantine(folder):
    text = EPISODES + "m-701,001,Alder,bad,\n m-702 ,001,Alder,2026-03-02T08:00Z,2026-03-03T08:00Z\n"
    read_text(folder, "episodes.csv", text)
    store = store_of(folder)
    key = load_key(store, create=False)
    hidden = patient_key(key, "TARN", "m-701")
    assert raw_of(folder) == [
        {"patient_ref": hidden, "unit_id": "001", "ward": "Alder", "started_at": "bad", "ended_at": None}
    ]
    sealed = pl.read_parquet(quarantine_path(store, entries(store)[0]))["sealed"].item()
    assert unseal(key, sealed) == b'{"patient_ref": "m-701"}'
    shown = patient_key(key, "TARN", "M-702")
    assert stored(folder, "episodes")["patient_key"].to_list() == [shown]
    assert recall(store, key) == {("TARN", shown): "m-702"}


@pytest.mark.parametrize(
    "line",
    [
        "m-701,001,Alder,bad,",
        "Alder,m-701,001,2026-03-02T08:00Z,,x",
        "m-701",
        '"m-701",001,Alder,2026-03-02T08:00Z,',
    ],
)
def test_no_reference_stands_anywhere_in_the_store(folder, line):
    read_text(folder, "episodes.csv", EPISODES + line + "\n")
    kept = b"".join(path.read_bytes() for path in folder.parent.rglob("store/**/*") if path.is_file())
    assert b"m-701" not in kept.lower()
    assert "m-701" not in str(listing(store_of(folder)).rows())


def test_a_torn_row_keeps_only_how_many_fields_it_has(folder):
    read_text(folder, "episodes.csv", EPISODES + "m-701,001\n")
    assert raw_of(folder) == [{"fields_found": 2, "fields_expected": 5}]


def test_folders_are_read_by_name_and_what_fits_none_is_named(folder):
    (folder / "march").mkdir()
    (folder / "march" / "usage_samples.csv").write_text(SAMPLES + sample(0))
    (folder / "usage_sample.csv").write_text(SAMPLES + sample(1))
    (folder / ".usage_samples.csv").write_text(SAMPLES + sample(1))
    report = read(folder)
    assert [file.name for file in report.files] == ["usage_samples.csv"]
    assert report.passed_over == ("usage_sample.csv",)


def test_a_file_named_twice_is_read_once(folder):
    (folder / "units.csv").write_text("unit_id\n1\n")
    assert len(read(folder, folder, folder / "units.csv", folder).files) == 1


def test_paths_that_are_not_there_and_folders_without_exports(folder):
    with pytest.raises(UsageError, match="nowhere"):
        read(folder, folder / "nowhere")
    with pytest.raises(NothingToDo, match=r"\{table\}.csv"):
        read(folder)


def test_the_store_inside_the_folder_is_not_read(folder):
    (folder / "units.csv").write_text("unit_id\n1\n")
    read(folder)
    (folder.parent / "store" / "units.csv").write_text("unit_id\n2\n")
    assert [file.known for file in read(folder, folder.parent).files] == [True]


def test_progress_tells_the_bytes_done_of_all(folder):
    (folder / "units.csv").write_text("unit_id\n1\n")
    (folder / "usage_samples.csv").write_text(SAMPLES)
    told = []
    read(folder, progress=lambda *facts: told.append(facts))
    total = 10 + len(SAMPLES)
    assert told == [
        ("units.csv", 0, 0, total),
        ("units.csv", 1, 10, total),
        ("usage_samples.csv", 0, 10, total),
        ("usage_samples.csv", 0, total, total),
    ]


def test_what_is_stored_of_a_file_does_not_depend_on_the_others(folder, tmp_path):
    texts = {
        "usage_samples_1.csv": SAMPLES + sample(0) + sample(1),
        "usage_samples_2.csv": SAMPLES + sample(1),
    }
    found = []
    for order in (sorted(texts), sorted(texts, reverse=True)):
        place = tmp_path / order[0] / "in"
        place.mkdir(parents=True)
        (place.parent / "site.toml").write_text((folder.parent / "site.toml").read_text())
        for name in order:
            read_text(place, name, texts[name])
        store = store_of(place)
        found.append({path: sha for entry in entries(store) for path, sha in entry.files.items()})
    assert found[0] == found[1]


LINE = st.tuples(
    st.sampled_from(["001", "002", "", " 001"]),
    st.sampled_from(["2026-03-02T08:00Z", "2026-03-02 08:00", "2026-03-29T01:30", "x", ""]),
    st.sampled_from(["30", "31", "101", "a,b", ""]),
    st.sampled_from(["in_use", "OFF", "?", '"off"']),
).map(",".join) | st.sampled_from(["", " ", ",,,", "001"])


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(LINE, max_size=6), min_size=1, max_size=3))
def test_every_line_is_accounted_for_in_every_file(folder, tmp_path_factory, files):
    """Counted here by the lines of the text, by no code of the program."""
    place = tmp_path_factory.mktemp("run") / "in"
    place.mkdir()
    (place.parent / "site.toml").write_text((folder.parent / "site.toml").read_text())
    for number, lines in enumerate(files):
        text = SAMPLES + "".join(f"{line}\n" for line in lines)
        result = read_text(place, f"usage_samples_{number}.csv", text)
        assert result.rows_read == len(lines)
        assert sum(account(result)[1:]) == len(lines)
        assert result.skipped == sum(not line.strip() or line == ",,," for line in lines)
        assert result.corrected <= result.accepted
    kept = listing(store_of(place))
    assert kept.height == sum(entry.quarantined for entry in entries(store_of(place)))
    assert all(kept["reasons"].str.len_chars() > 0)
