"""What lies in a folder of exports and is no file to read: told, never waited for, and the others go on."""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit"))
from ingest_rows import new_folder, read

from pipeline.errors import UsageError

READINGS = "unit_id,read_at,cycle_count\n{},2026-03-02T08:00,7\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    made = new_folder(tmp_path, monkeypatch)
    (made / "count_readings.csv").write_text(READINGS.format("K1"))
    return made


def a_pipe(path: Path) -> None:
    os.mkfifo(path)


def a_socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(str(path))


def a_link_to_nothing(path: Path) -> None:
    path.symlink_to(path.with_name("gone"))


def a_link_to_itself(path: Path) -> None:
    path.symlink_to(path)


@pytest.mark.parametrize("make", [a_pipe, a_socket, a_link_to_nothing, a_link_to_itself])
def test_what_is_no_file_is_refused_and_the_others_are_read(folder, make, monkeypatch):
    monkeypatch.chdir(folder)  # a socket's path must be short
    make(Path("count_readings_odd.csv"))
    told = {file.name: file.refused for file in read(folder).files}
    assert told == {"count_readings.csv": None, "count_readings_odd.csv": "is no regular file, or is gone"}


def test_a_folder_named_like_a_table_is_looked_into(folder):
    (folder / "units.csv").mkdir()
    (folder / "units.csv" / "count_readings_2.csv").write_text(READINGS.format("K2"))
    assert [file.accepted for file in read(folder).files] == [1, 1]


def test_a_link_to_a_file_is_that_file_and_read_once(folder):
    (folder / "count_readings_link.csv").symlink_to(folder / "count_readings.csv")
    assert [(file.name, file.accepted) for file in read(folder).files] == [("count_readings.csv", 1)]


def test_two_files_of_one_name_and_other_content_are_two_files(folder):
    (folder / "april").mkdir()
    (folder / "april" / "count_readings.csv").write_text(READINGS.format("K2"))
    assert [(file.name, file.accepted) for file in read(folder).files] == [("count_readings.csv", 1)] * 2


def test_a_file_that_goes_before_it_is_read_is_refused(folder):
    (folder / "count_readings_2.csv").write_text(READINGS.format("K2"))

    def remove_the_second(name: str, *_: int) -> None:
        (folder / "count_readings_2.csv").unlink(missing_ok=True)

    told = [file.refused for file in read(folder, progress=remove_the_second).files]
    assert told == [None, "is no regular file, or is gone"]


def test_a_path_that_is_not_there_is_wrong_usage(folder):
    with pytest.raises(UsageError, match="no such file or folder"):
        read(folder, folder / "nothing.csv")
