"""Changing the key and keeping less, end to end: a new store from the exports that are still to be kept."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from canaries import files_below, found_in
from traced_ward import csv_text, run

EPISODES = {
    "episodes_2025.csv": ["ref-old-one | u1 | Alder | 2025-03-02 08:00 | 2025-03-03 08:00"],
    "episodes_2026.csv": [
        "ref-a | u1 | Alder | 03-02 08:00 | 03-03 08:00",
        "ref-b | u1 | Alder | 03-04 08:00 | 03-05 08:00",
    ],
}


@pytest.fixture
def exports(tmp_path: Path) -> Path:
    folder = tmp_path / "exports"
    folder.mkdir()
    for name, rows in EPISODES.items():
        (folder / name).write_text(csv_text("episodes", rows))
    cycles = [
        "u1 | c0 | 2025-01-01 08:00 | 2025-01-01 09:00 | passed",
        "u1 | c1 | 03-01 08:00 | 03-01 09:00 | passed",
    ]
    (folder / "disinfections.csv").write_text(csv_text("disinfections", cycles))
    (folder / "site.toml").write_text('site_id = "TARN"\ntime_zone = "UTC"\n')
    return folder


def store_of(exports: Path, name: str, *files: str) -> Path:
    store = exports.with_name(name)
    paths = [exports / file for file in files] or [exports]
    result = run("ingest", "--store", store, "--rules", exports / "site.toml", *paths)
    assert result.exit_code == 0, result.output
    return store


def measured(store: Path, folder: Path) -> dict[str, list[tuple]]:
    """Every exported table without its keys, rows sorted."""
    run("measure", "--store", store)
    run("export", "--store", store, "--to", folder)
    tables = {}
    for path in sorted(folder.glob("*.csv")):
        rows = list(csv.DictReader(path.open(encoding="utf-8")))
        tables[path.name] = sorted(
            tuple((name, cell) for name, cell in row.items() if not name.endswith("_key")) for row in rows
        )
    return tables


def keys_of(folder: Path) -> set[str]:
    rows = csv.DictReader((folder / "patient_stays.csv").open(encoding="utf-8"))
    return {row["patient_key"] for row in rows}


def test_with_a_new_key_the_measures_are_equal_and_the_keys_are_not(exports: Path, tmp_path: Path):
    old, new = store_of(exports, "old"), store_of(exports, "new")
    before, after = measured(old, tmp_path / "before"), measured(new, tmp_path / "after")
    assert before == after
    assert len(before["patient_stays.csv"]) == 3
    assert keys_of(tmp_path / "before").isdisjoint(keys_of(tmp_path / "after"))
    assert old.with_name("old.key").read_text() != new.with_name("new.key").read_text()


def test_the_old_key_opens_nothing_of_the_new_store(exports: Path):
    old, new = store_of(exports, "old"), store_of(exports, "new")
    new.with_name("new.key").write_text(old.with_name("old.key").read_text())
    assert run("trace", "--store", new, "--patient", "ref-a").exit_code == 8
    assert run("trace", "--store", new, "--unit", "u1", "--reveal", "--reason", "why").exit_code == 8


def test_a_store_of_fewer_exports_holds_nothing_of_the_others(exports: Path):
    store = store_of(exports, "kept", "episodes_2026.csv", "disinfections.csv")
    assert run("trace", "--store", store, "--patient", "ref-old-one").exit_code == 5
    assert run("trace", "--store", store, "--patient", "ref-a").exit_code == 0
    revealed = run(
        "trace", "--store", store, "--unit", "u1", "--reveal", "--reason", "check", "--json"
    ).stdout
    assert "ref-old-one" not in revealed
    assert found_in(files_below(store), ["ref-old-one"]) == set()


def test_how_to_change_the_key_and_keep_less_is_in_the_help():
    text = run("forget", "--help").stdout
    assert "Changing the key" in text
    assert "Keeping less" in text
