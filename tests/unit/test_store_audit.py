import json

import pytest
from store_rows import new_store

from pipeline.store import audit


@pytest.fixture
def store(tmp_path):
    made = new_store(tmp_path)
    for number in range(4):
        audit.record(made, "ingest", files=number)
    return made


def lines_of(store):
    return store.audit.read_text().splitlines(keepends=True)


def test_a_line_says_who_did_what_when(store):
    line = json.loads(lines_of(store)[2])
    assert (line["command"], line["files"]) == ("ingest", 2)
    assert line["at"].endswith("Z")
    assert set(line) == {"previous", "at", "user", "program_version", "command", "files"}


def test_an_untouched_record_has_no_faults(store, tmp_path):
    assert audit.verify(store) == []
    (tmp_path / "empty").mkdir()
    assert audit.verify(new_store(tmp_path / "empty")) == []


@pytest.mark.parametrize("number", range(4))
def test_an_edited_line_is_found(store, number):
    lines = lines_of(store)
    lines[number] = lines[number].replace('"files": ', '"files": 1')
    store.audit.write_text("".join(lines))
    assert audit.verify(store)


@pytest.mark.parametrize("number", range(4))
def test_a_deleted_line_is_found(store, number):
    lines = lines_of(store)
    del lines[number]
    store.audit.write_text("".join(lines))
    assert audit.verify(store)


@pytest.mark.parametrize("number", range(3))
def test_lines_that_changed_places_are_found(store, number):
    lines = lines_of(store)
    lines[number], lines[number + 1] = lines[number + 1], lines[number]
    store.audit.write_text("".join(lines))
    assert audit.verify(store)


def test_an_emptied_record_is_found(store):
    store.audit.write_text("")
    assert audit.verify(store) == ["audit.jsonl: 4 of 4 lines are missing at the end."]


def test_a_missing_head_is_found(store):
    store.audit_head.unlink()
    assert audit.verify(store) == ["audit.head: missing."]


@pytest.mark.parametrize("harm", ["cut", "emptied", "last line edited", "both files gone"])
def test_harm_stays_found_when_later_runs_add_their_lines(store, harm):
    store.ledger.mkdir()
    (store.ledger / "x.json").write_text("{}")
    lines = lines_of(store)
    left = {"cut": lines[:2], "last line edited": [*lines[:3], lines[3].replace('"files": 3', '"files": 9')]}
    store.audit.write_text("".join(left.get(harm, [])))
    if harm == "both files gone":
        store.audit.unlink()
        store.audit_head.unlink()
    assert audit.verify(store)
    for _ in range(2):
        audit.record(store, "measure")
        assert audit.verify(store)


def test_a_record_that_was_never_begun_is_found_once_the_store_holds_files(tmp_path):
    store = new_store(tmp_path)
    audit.begin(store)
    assert audit.verify(store) == []
    store.ledger.mkdir()
    (store.ledger / "x.json").write_text("{}")
    assert audit.verify(store) == []
    store.audit_head.unlink()
    audit.begin(store)
    assert audit.verify(store) == ["audit.head: missing."]


def test_lines_added_behind_the_last_are_found(store):
    head = store.audit_head.read_bytes()
    for _ in range(2):
        audit.record(store, "measure")
    store.audit_head.write_bytes(head)
    assert audit.verify(store) == ["audit.jsonl: lines were added at the end."]


def test_a_line_that_is_no_json_is_found(store):
    store.audit.write_text("".join([*lines_of(store)[:3], "nonsense\n"]))
    assert audit.verify(store)[0] == "audit.jsonl, line 4: it does not follow the line before it."


def test_a_run_killed_before_the_head_or_within_a_line_is_no_fault(store):
    head = store.audit_head.read_bytes()
    audit.record(store, "measure")
    store.audit_head.write_bytes(head)
    with store.audit.open("a") as file:
        file.write('{"previous": "tor')
    assert audit.verify(store) == []
    audit.record(store, "measure")
    assert audit.verify(store) == []
    assert len(lines_of(store)) == 6
