"""Every file of the corpus ends as its expectation says: row by row, with the place and the reason of each fault."""

from __future__ import annotations

import datetime
import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from bad_file import BadFile, expected_of, written
from corpus import CORPUS

from pipeline.ingest import expectations
from pipeline.ingest.ingest import ingest
from pipeline.ingest.ingest_file import FileResult
from pipeline.ingest.quarantine import listing
from pipeline.store.layout import open_store

NOW = datetime.datetime(2026, 6, 1, 12, 0, tzinfo=datetime.UTC)
RULES = 'site_id = "TARN"\ntime_zone = "Europe/Dublin"\n'
PROFILES = Path(__file__).parent / "profiles"
#: What became of a file: its account, and what is wrong with each of its rows by sheet and number.
Fate = tuple[FileResult, dict[tuple[str | None, int], str]]


@pytest.fixture(scope="module")
def corpus(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("corpus")
    written(CORPUS, folder)
    return folder


@pytest.fixture(scope="module")
def fates(corpus, tmp_path_factory) -> dict[str, Fate]:
    """Every store's files, read in one go each; the import of Great Expectations is not what is tested here."""
    found: dict[str, Fate] = {}
    rules = tmp_path_factory.mktemp("rules") / "site.toml"
    rules.write_text(RULES)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(expectations, "start_importing", lambda: None)
        patch.setattr(expectations, "judge_batch", lambda store, facts: ())
        patch.setattr(os, "fsync", lambda _: None)  # nothing of it needs to outlast the test
        for name in sorted({file.store for file in CORPUS}):
            found |= _read(corpus / name, rules, tmp_path_factory.mktemp(name) / "store")
    return found


def _read(folder: Path, rules: Path, root: Path) -> dict[str, Fate]:
    store = open_store(root, create=True)
    paths = sorted(path for path in folder.iterdir() if not path.name.endswith(".json"))
    report = ingest(store, paths, rules_path=rules, profile_path=PROFILES, now=NOW)
    rows = listing(store)
    by_file: dict[str, dict[tuple[str | None, int], str]] = {}
    for file_name, sheet, number, faults in rows.select(
        "file_name", "sheet", "source_row", "faults"
    ).iter_rows():
        by_file.setdefault(file_name, {})[sheet, number] = faults
    return {file.name: (file, by_file.get(file.name, {})) for file in report.files}


@pytest.mark.parametrize("file", CORPUS, ids=lambda file: file.name)
def test_a_bad_file_ends_as_it_must(file: BadFile, corpus: Path, fates: dict[str, Fate]):
    expect, (told, rows) = expected_of(corpus / file.store / file.name), fates[file.name]
    assert (expect.refused is None) == (told.refused is None), told.refused
    assert (expect.refused or "") in (told.refused or "")
    assert rows == {(expect.sheet, number): faults for number, faults in expect.quarantined.items()}
    account = (told.rows_read, told.accepted, told.duplicates, told.skipped, told.corrected)
    assert account == (
        expect.rows_read,
        expect.accepted,
        expect.duplicates,
        expect.skipped,
        expect.corrected,
    )
    assert told.warnings == expect.warnings
    assert bool(expect.note) == bool(told.notes), told.notes
    assert any((expect.note or "") in note for note in told.notes or [""])
    assert len(told.undeclared_columns) == expect.undeclared


def test_there_are_enough_of_them():
    assert len({(file.store, file.name) for file in CORPUS}) == len(CORPUS) >= 300
