"""The worklist as a command: how old its data are, its pages, and that it changes nothing."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import Result
from small_ward import EXPORTS, ingest_text

from pipeline import run
from pipeline.errors import NothingToDo, UsageError
from pipeline.findings.cautions import CAUTIONS
from pipeline.store.layout import open_store
from pipeline.store.lock import hold
from pipeline.worklist import Worklist, of_ward
from reports.worklist_page import render, write_pages

Run = Callable[..., Result]
#: The latest record is a disinfection that began on 22 May at 09:00 UTC.
FRESH, DAY_OLD, STALE = "2026-05-22T12:00:00Z", "2026-05-23T09:00:00Z", "2026-05-23T09:00:01Z"


@pytest.fixture(scope="module")
def busy(measured_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ward with a patient on a unit whose circuit was fitted long before."""
    folder = shutil.copytree(measured_once, tmp_path_factory.mktemp("busy") / "ward")
    header = EXPORTS["episodes"].splitlines()[0]
    ingest_text(folder, "episodes_now", f"{header}\np6,u2,Birch,2026-05-21T08:00:00Z,\n")
    header = EXPORTS["part_changes"].splitlines()[0]
    ingest_text(folder, "part_changes_now", f"{header}\nu2,circuit,2026-05-15T08:00:00Z,,C5\n")
    return folder


@pytest.fixture(scope="module")
def lists(busy: Path) -> dict[str, Worklist]:
    return {
        as_of: run.worklist(busy / "store", as_of, None, None, datetime(2026, 6, 1))[0]
        for as_of in (FRESH, DAY_OLD, STALE)
    }


def test_data_are_stale_once_they_are_older_than_a_day(lists: dict[str, Worklist]):
    assert [found.ages[0].is_stale for found in lists.values()] == [False, False, True]
    assert lists[FRESH].ages[0].latest_at == datetime(2026, 5, 22, 9)
    assert lists[FRESH].ages[0].age_h == 3


def test_every_output_says_so_when_data_are_stale(lists: dict[str, Worklist], ward: Path, dewledger: Run):
    words = ("worklist", "--store", ward / "store", "--as-of", STALE)
    assert "STALE: TARN" in dewledger(*words).stderr
    told = json.loads(dewledger(*words, "--json").stdout)
    assert (told["stale"], told["data"][0]["stale"]) == (True, True)
    page = render(lists[STALE], "TARN", "Alder")
    assert "<h1>Stale worklist: Alder" in page
    assert 'class="stale"' in page
    fresh = render(lists[FRESH], "TARN", "Alder")
    assert "Stale" not in fresh
    assert 'class="stale"' not in fresh


def test_the_age_is_told_on_fresh_data_too(lists: dict[str, Worklist], ward: Path, dewledger: Run):
    result = dewledger("worklist", "--store", ward / "store", "--as-of", FRESH)
    assert "the latest record is of 22 May 2026, 10:00, 3.0 h old" in result.stderr
    assert "3.0 h before this list" in render(lists[FRESH], "TARN", "Alder")


def test_the_rows_come_in_json_and_on_the_terminal_in_local_time(busy: Path, dewledger: Run, monkeypatch):
    monkeypatch.setenv("COLUMNS", "160")
    words = ("worklist", "--store", busy / "store", "--as-of", FRESH)
    shown = dewledger(*words).stdout.splitlines()
    assert len(shown) == 2
    assert re.search(r"Birch +u2 +circuit +past its limit +[0-9a-f]{8} +22 May 09:00 +4\.0 h", shown[1])
    told = json.loads(dewledger(*words, "--json").stdout)
    assert [(task["kind"], task["unit_id"], task["due_at"], task["since_h"]) for task in told["tasks"]] == [
        ("part_overdue", "u2", "2026-05-22T08:00:00Z", 4.0)
    ]
    assert told["cautions"][: len(CAUTIONS)] == list(CAUTIONS)


def test_each_ward_has_its_page_with_a_box_per_row_and_the_cautions(
    lists: dict[str, Worklist], tmp_path: Path
):
    pages = write_pages(lists[FRESH], tmp_path, all_wards=True)
    assert [path.name for path in pages] == ["worklist_TARN_Alder.html", "worklist_TARN_Birch.html"]
    for path, ward in zip(pages, ("Alder", "Birch"), strict=True):
        page = path.read_text()
        rows = [task for task in lists[FRESH].tasks if task.ward == ward]
        assert page.count('class="box"') == len(rows)
        assert all(caution.replace("'", "&#39;") in page for caution in CAUTIONS)
        assert "@page{size:A4" in page


def test_an_empty_list_clears_no_unit(lists: dict[str, Worklist]):
    page = render(replace(lists[FRESH], tasks=()), "TARN", "Alder")
    assert "nothing to see to on this ward. That clears no unit." in page


def test_a_page_loads_nothing_and_shows_names_as_they_are(lists: dict[str, Worklist]):
    hostile = '</style><img src="x" onerror="alert(1)">'
    (task,) = lists[FRESH].tasks
    found = replace(
        lists[FRESH], tasks=(replace(task, ward=hostile, unit_id=hostile),), wards=(("TARN", hostile),)
    )
    page = render(found, "TARN", hostile)
    assert "<img" not in page
    assert "default-src &#39;none&#39;" in page
    assert not re.search(r"https?://|<script", page)


def test_a_page_of_a_ward_that_is_gone_is_removed_only_when_all_are_written(
    lists: dict[str, Worklist], tmp_path: Path
):
    old = tmp_path / "worklist_TARN_Elm.html"
    other = tmp_path / "notes.html"
    for path in (old, other):
        path.write_text("old")
    write_pages(of_ward(lists[FRESH], "alder"), tmp_path, all_wards=False)
    assert old.exists()
    write_pages(lists[FRESH], tmp_path, all_wards=True)
    assert (old.exists(), other.exists()) == (False, True)


def test_one_ward_only(lists: dict[str, Worklist]):
    found = of_ward(lists[STALE], " ALDER ")
    assert {task.ward for task in found.tasks} <= {"Alder"}
    assert found.wards == (("TARN", "Alder"),)
    with pytest.raises(UsageError, match="Known: Alder, Birch"):
        of_ward(lists[STALE], "Elm")


def test_it_runs_while_another_run_holds_the_store_and_changes_nothing(ward: Path, dewledger: Run):
    store = open_store(ward / "store", create=False)
    with hold(store):
        before = {path: path.read_bytes() for path in store.root.rglob("*") if path.is_file()}
        assert dewledger("worklist", "--store", store.root, "--to", ward / "pages").exit_code == 0
        assert {path: path.read_bytes() for path in store.root.rglob("*") if path.is_file()} == before


def test_an_instant_before_all_records_has_nothing_to_do(measured_once: Path):
    with pytest.raises(NothingToDo):
        run.worklist(measured_once / "store", "2026-01-01T00:00:00Z", None, None, datetime(2026, 6, 1))


def test_the_same_worklist_gives_the_same_page(lists: dict[str, Worklist]):
    assert render(lists[STALE], "TARN", "Birch") == render(lists[STALE], "TARN", "Birch")
