"""Rows that were not accepted are mended in a workbook and come in under their own file and number, once."""

import datetime
import io
import json

import pytest
from ingest_rows import NOW, new_folder, quarantine_of, read, read_text, store_of, stored
from store_rows import settled

from pipeline.errors import NothingToDo, UsageError
from pipeline.ingest.ingest import open_run
from pipeline.ingest.quarantine import listing, of_file
from pipeline.ingest.repair import discard, retry
from pipeline.ingest.repair_sheet import row_in_words, write_sheets
from pipeline.ingest.untrusted import read_sheet, sheet_names
from pipeline.ingest.workbooks import SheetOfText, workbook_bytes
from pipeline.store.keys import load_key, patient_key
from pipeline.store.ledger import entries
from pipeline.store.verify import verify

EPISODES = """patient_ref,unit_id,ward,started_at,ended_at
m-1,001,Alder,2026-03-02T08:00Z,2026-03-03T08:00Z
m-2,002,Alder,tomorrow,2026-03-03T08:00Z
m-3,,Alder,2026-03-02T08:00Z,2026-03-03T08:00Z
m-4,004,Alder
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    made = new_folder(tmp_path, monkeypatch)
    read_text(made, "episodes.csv", EPISODES)
    return made


def exported(folder, **stated):
    store = store_of(folder)
    path = folder.parent / "mend.xlsx"
    write_sheets(of_file(listing(store), **{"file_name": None, **stated}), store, entries(store), path)
    return path


def mend(path, changes):
    """Write the workbook again with other texts: {(row number, column head): text}."""
    content = path.read_bytes()
    sheets = {}
    for name in sheet_names(content):
        head, *rows = read_sheet(content, name).cells.rows()
        places = {said: place for place, said in enumerate(head)}
        made = [list(row) for row in rows]
        for (number, column), text in changes.items():
            for row in made:
                if "Row" in places and row[places["Row"]] == str(number) and column in places:
                    row[places[column]] = text
        sheets[name] = SheetOfText({said or "": 10 for said in head}, made)
    path.write_bytes(workbook_bytes(sheets))
    return path


def retried(folder, path, site=None):
    done = retry(open_run(store_of(folder), site, None, NOW), path)
    return sum(done.accepted.values()), sum(done.quarantined.values()), done.unchanged, done.gone


def account(folder, name="episodes.csv"):
    entry = next(entry for entry in entries(store_of(folder)) if entry.name == name)
    return entry.rows_read, entry.accepted, entry.duplicates, entry.skipped, entry.quarantined


START = "started_at"


def test_a_mended_row_comes_in_under_its_own_file_and_number(folder):
    path = mend(exported(folder), {(3, START): "2026-03-02T09:00Z"})
    assert retried(folder, path) == (1, 0, 2, 0)
    assert account(folder) == (4, 2, 0, 0, 2)
    assert stored(folder, "episodes").select("unit_id", "source_row").rows() == [("001", 2), ("002", 3)]
    assert [row for row, _ in quarantine_of(folder)] == [4, 5]
    assert entries(store_of(folder))[0].repaired == (3,)
    assert verify(store_of(folder)) == []


def test_the_reference_behind_a_key_is_kept_and_one_typed_over_it_is_taken(folder):
    key = load_key(store_of(folder), create=False)
    mend(
        exported(folder), {(3, START): "2026-03-02T09:00Z", (4, "unit_id"): "003", (4, "patient_ref"): "m-33"}
    )
    retried(folder, folder.parent / "mend.xlsx")
    keys = stored(folder, "episodes")["patient_key"].to_list()
    assert keys[1:] == [patient_key(key, "TARN", "m-2"), patient_key(key, "TARN", "m-33")]


def test_no_reference_stands_in_the_workbook(folder):
    content = exported(folder).read_bytes()
    texts = [str(read_sheet(content, name).cells.rows()) for name in sheet_names(content)]
    assert not any(f"m-{number}" in text for text in texts for number in range(1, 5))


def test_the_same_workbook_again_changes_nothing(folder):
    path = mend(exported(folder), {(3, START): "2026-03-02T09:00Z"})
    retried(folder, path)
    before = (account(folder), stored(folder, "episodes").rows())
    assert retried(folder, path) == (0, 0, 2, 1)
    assert (account(folder), stored(folder, "episodes").rows()) == before


def test_a_row_that_is_still_wrong_stays_with_its_new_reason(folder):
    path = mend(exported(folder), {(3, START): "2026-03-04T09:00Z", (4, "ward"): ""})
    assert retried(folder, path) == (0, 2, 1, 0)
    assert quarantine_of(folder)[:2] == [(3, "ends_before_start"), (4, "missing_value")]
    assert entries(store_of(folder))[0].reasons == {
        "ends_before_start": 1,
        "missing_value": 2,
        "wrong_field_count": 1,
    }


def test_a_torn_row_is_filled_in_by_hand(folder):
    said = {"patient_ref": "m-4", "unit_id": "004", "ward": "Alder", START: "2026-03-02T08:00Z"}
    path = mend(exported(folder), {(5, column): text for column, text in said.items()})
    assert retried(folder, path) == (1, 0, 2, 0)
    assert stored(folder, "episodes")["warnings"].to_list() == [None, "missing_end"]
    assert entries(store_of(folder))[0].warnings == {"missing_end": 1}


def test_a_mended_row_that_repeats_another_is_a_duplicate(folder):
    text = EPISODES.splitlines()[0] + "\nm-2,002,Alder,2026-03-02T09:00Z,2026-03-03T08:00Z\n"
    read_text(folder, "episodes_2.csv", text)
    said = {"patient_ref": "m-1", "unit_id": "001", START: "2026-03-02T08:00Z"}
    mend(
        exported(folder),
        {(3, START): "2026-03-02T09:00Z", **{(4, name): text for name, text in said.items()}},
    )
    assert retried(folder, folder.parent / "mend.xlsx") == (2, 0, 1, 0)
    assert account(folder) == (4, 1, 2, 0, 1)
    assert len(settled(store_of(folder), "episodes", "unit_id")) == 2


def test_a_file_read_again_under_other_rules_keeps_its_mended_and_discarded_rows(folder):
    retried(folder, mend(exported(folder), {(3, START): "2026-03-02T09:00Z"}))
    store = store_of(folder)
    discard(store, entries(store), of_file(listing(store), "episodes.csv", None, [4]), "a test unit")
    rules = folder.parent / "site.toml"
    rules.write_text(rules.read_text().replace("Dublin", "Paris"))
    (again,) = read(folder).files
    assert not again.known
    assert account(folder) == (4, 2, 0, 1, 1)
    assert stored(folder, "episodes")["source_row"].to_list() == [2, 3]
    assert [row for row, _ in quarantine_of(folder)] == [5]
    assert entries(store)[0].discarded == {"4": "a test unit"}


def test_a_discarded_row_counts_as_skipped_and_its_reason_stays(folder):
    store = store_of(folder)
    ((entry, rows),) = discard(
        store, entries(store), of_file(listing(store), None, "episodes", [3, 5]), " demo "
    )
    assert rows == [3, 5]
    assert account(folder) == (4, 1, 0, 2, 1)
    assert entry.discarded == {"3": "demo", "5": "demo"}
    assert entry.reasons == {"missing_value": 1}
    assert verify(store) == []


def test_a_row_discarded_before_its_workbook_came_back_stays_discarded(folder):
    path = mend(exported(folder), {(3, START): "2026-03-02T09:00Z"})
    store = store_of(folder)
    discard(store, entries(store), listing(store), "given up")
    assert retried(folder, path) == (0, 0, 0, 3)
    assert account(folder) == (4, 1, 0, 3, 0)


def test_a_reason_must_be_given(folder):
    with pytest.raises(UsageError, match="--reason"):
        discard(store_of(folder), [], listing(store_of(folder)), "  ")


def test_a_row_that_stands_twice_in_the_workbook_is_counted_neither_way(folder):
    path = exported(folder)
    sheets = {}
    for name in sheet_names(path.read_bytes()):
        head, *rows = read_sheet(path.read_bytes(), name).cells.rows()
        sheets[name] = SheetOfText({said or "": 10 for said in head}, [*rows, rows[0]])
    path.write_bytes(workbook_bytes(sheets))
    before = account(folder)
    with pytest.raises(UsageError, match=r"rows stand in it twice \(row 3"):
        retried(folder, path)
    assert account(folder) == before


def test_a_key_pasted_from_another_row_is_no_reference(folder):
    key = load_key(store_of(folder), create=False)
    path = mend(exported(folder), {(3, "patient_ref"): patient_key(key, "TARN", "m-3")})
    with pytest.raises(UsageError, match=r"episodes.csv, row 3: 'patient_ref' holds the key of another row"):
        retried(folder, path)


PROFILE = """name = "book"
table = "part_changes"
files = ["book*"]
delimiter = ";"
time_formats = ["%d.%m.%Y %H:%M"]
time_zone = "Asia/Tokyo"
exported_at = "Stand (.+)"
[columns]
unit_id = "Gerät"
fitted_at = ["Tag", "Zeit"]
[constants]
part = "circuit"
"""
BOOK = "Stand 05.03.2026 12:00\nGerät;Tag;Zeit;lot\n1;02.03.2026;8h;L1\n2;31.02.2026;08:00;\n"


def test_rows_of_a_declared_export_are_mended_in_its_own_columns_and_formats(folder):
    profile = folder.parent / "book.toml"
    profile.write_text(PROFILE, "utf-8")
    read_text(folder, "book.csv", BOOK, profile_path=profile)
    path = exported(folder, file_name="book.csv")
    mend(path, {(3, "Zeit [fitted_at.time]"): "08:30", (4, "Tag [fitted_at.date]"): "06.03.2026"})
    assert retried(folder, path) == (1, 1, 0, 0)
    rows = (
        stored(folder, "part_changes").select("fitted_at", "part", "lot", "exported_at", "source_row").rows()
    )
    exported_at = datetime.datetime(2026, 3, 5, 3, 0)
    assert rows == [(datetime.datetime(2026, 3, 1, 23, 30), "circuit", "L1", exported_at, 3)]
    assert quarantine_of(folder)[-1] == (4, "in_future")


def test_a_time_may_be_mended_as_spreadsheets_write_it(folder):
    profile = folder.parent / "day.toml"
    profile.write_text(
        'name = "d"\ntable = "count_readings"\nfiles = ["d*"]\ntime_formats = ["%d.%m.%Y %H:%M"]\n'
    )
    read_text(folder, "d.csv", "unit_id,read_at,cycle_count\n1,31.02.2026 08:00,7\n", profile_path=profile)
    path = mend(exported(folder, file_name="d.csv"), {(2, "read_at"): "2026-03-01 08:00:00"})
    assert retried(folder, path) == (1, 0, 0, 0)


def test_a_cell_of_a_logbook_is_mended(folder):
    profile = folder.parent / "w.toml"
    profile.write_text(
        'name = "w"\ntable = "count_readings"\nfiles = ["w*"]\n[wide]\nday = "read_at"\nvalue = "cycle_count"\n'
        'clock = "12:00"\nday_format = "%d/%m/%Y"\n'
    )
    read_text(folder, "w.csv", "unit_id,02/03/2026,03/03/2026\n1,seven,8\n", profile_path=profile)
    path = mend(exported(folder, file_name="w.csv"), {(2_000_002, "cycle_count"): "7"})
    assert retried(folder, path) == (1, 0, 0, 0)
    rows = stored(folder, "count_readings").select("read_at", "cycle_count", "source_row").rows()
    noon = datetime.datetime(2026, 3, 2, 12)
    next_noon = noon + datetime.timedelta(days=1)
    assert rows == [(noon, 7, 2_000_002), (next_noon, 8, 2_000_003)]


def test_one_row_in_words(folder):
    store = store_of(folder)
    found = row_in_words(store, listing(store), 3)
    assert found["fields"]["started_at"] == "tomorrow"
    assert found["wrong"][0].startswith("started_at: a date or time")
    with pytest.raises(NothingToDo):
        row_in_words(store, listing(store), 2)


def test_another_workbook_is_told_from_the_one_to_mend(folder):
    other = folder.parent / "other.xlsx"
    other.write_bytes(workbook_bytes({"S": SheetOfText({"a": 5}, [["1"]])}))
    with pytest.raises(UsageError, match="quarantine export"):
        retried(folder, other)
    other.write_bytes(b"x")
    with pytest.raises(UsageError, match="no workbook"):
        retried(folder, other)


def test_what_fits_nothing_is_told(folder):
    with pytest.raises(NothingToDo, match=r"none\.csv"):
        of_file(listing(store_of(folder)), "none.csv")
    assert of_file(listing(store_of(folder)).clear(), None).is_empty()


def test_formulas_in_the_rows_stay_text(folder):
    text = "unit_id,part,fitted_at\n=1+1,circuit,soon\n"
    read_text(folder, "part_changes.csv", text)
    content = exported(folder, file_name="part_changes.csv").read_bytes()
    assert b"<f>" not in content
    assert "=1+1" in str(read_sheet(io.BytesIO(content).read(), "1 part_changes").cells.rows())
    assert json.loads(listing(store_of(folder)).filter(table="part_changes")["raw"][0])["unit_id"] == "=1+1"
