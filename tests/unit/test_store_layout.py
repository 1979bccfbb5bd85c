import os
import stat

import pytest
from store_rows import new_store

from pipeline.errors import NothingToDo, StorageTrouble, UsageError
from pipeline.store import layout
from pipeline.store.layout import open_store
from pipeline.store.parquet import TEMPORARY


def test_a_new_store_is_made_and_found_again(tmp_path):
    store = new_store(tmp_path)
    assert open_store(tmp_path / "store", create=False) == store
    assert open_store(tmp_path / "store", create=True) == store
    assert stat.S_IMODE(store.root.stat().st_mode) == 0o700


def test_a_missing_store_is_a_mistake_and_an_empty_one_has_nothing(tmp_path):
    with pytest.raises(UsageError, match="no such store"):
        open_store(tmp_path / "typo", create=False)
    with pytest.raises(NothingToDo, match="empty"):
        open_store(tmp_path, create=False)


@pytest.mark.parametrize("create", [False, True])
def test_a_folder_of_other_files_is_left_alone(tmp_path, create):
    (tmp_path / "letter.txt").write_text("x")
    with pytest.raises(UsageError, match=r"other files|no store"):
        open_store(tmp_path, create=create)
    assert os.listdir(tmp_path) == ["letter.txt"]


@pytest.mark.parametrize("create", [False, True])
def test_a_file_is_no_store(tmp_path, create):
    (tmp_path / "x").write_text("x")
    with pytest.raises(UsageError, match="is a file"):
        open_store(tmp_path / "x", create=create)


def test_a_store_whose_making_was_killed_is_made_again(tmp_path):
    (tmp_path / f".store.json.9{TEMPORARY}").write_bytes(b"{")
    assert open_store(tmp_path, create=True).marker.exists()


def test_a_store_of_a_later_program_is_refused(tmp_path):
    store = new_store(tmp_path)
    store.marker.write_text('{"format": 99}')
    with pytest.raises(UsageError, match="update the program"):
        open_store(store.root, create=False)


def test_a_damaged_marker_is_trouble(tmp_path):
    store = new_store(tmp_path)
    store.marker.write_text("{")
    with pytest.raises(StorageTrouble, match="damaged"):
        open_store(store.root, create=False)


def test_a_read_only_store_is_refused_for_writing_only(tmp_path, monkeypatch):
    store = new_store(tmp_path)
    monkeypatch.setattr(layout.os, "access", lambda path, mode: False)
    with pytest.raises(StorageTrouble, match="read-only"):
        open_store(store.root, create=True)
    assert open_store(store.root, create=False) == store


@pytest.mark.parametrize("site_id", ["../../x", "/etc", "..", "a\nb", "C:\\x", "a\0b"])
def test_no_sites_name_leaves_its_folder(tmp_path, site_id):
    store = new_store(tmp_path)
    path = store.table_file("units", site_id, "always", "a" * 64, "b" * 64)
    assert path.parent.parent.parent == store.tables / "units"
    assert store.rules_file(site_id).parent == store.rules
