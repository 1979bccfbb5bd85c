"""Which judgement of the expectations stands, of those that several ingests left."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.errors import StorageTrouble
from pipeline.store.layout import Store, open_store
from pipeline.store.ledger import LedgerEntry, StoredPart
from pipeline.validation import validations


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "store", create=True)


def entry(
    sha256: str, last_at: str | None, table: str = "episodes", site: str = "TARN", **stated: Any
) -> LedgerEntry:
    part = StoredPart(site, (last_at or "always")[:7], 1, last_at, last_at)
    counts = {"rows_read": 1, "accepted": 1}
    return LedgerEntry(
        sha256=sha256, name="a.csv", table=table, profile="plain", parts=(part,), **counts, **stated
    )


def judge(store: Store, name: str, files: list[str], *told: tuple[str, str, bool]) -> None:
    """Keep the judgements of one ingest: table, expectation, and whether it was met."""
    kept = [
        {
            "table": table,
            "expectation": expectation,
            "meaning": "few",
            "success": success,
            "observed": 1.0,
            "least": None,
            "most": 2.0,
        }
        for table, expectation, success in told
    ]
    path = store.validation_file(name)
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps({"schema_version": 1, "files": files, "expectations": kept}))


def test_the_judgement_of_the_files_that_reach_furthest_stands(store: Store):
    judge(store, "b", ["may"], ("episodes", "bad_code_pct", False))
    judge(store, "a", ["june"], ("episodes", "bad_code_pct", True))
    ledger = [entry("may", "2026-05-30T00:00:00Z"), entry("june", "2026-06-30T00:00:00Z")]
    assert [item.success for item in validations(store, ledger)] == [True]


def test_of_files_that_reach_alike_the_ingest_with_the_larger_name_stands(store: Store):
    judge(store, "a", ["one"], ("episodes", "bad_code_pct", False))
    judge(store, "b", ["two"], ("episodes", "bad_code_pct", True))
    ledger = [entry("one", "2026-05-30T00:00:00Z"), entry("two", "2026-05-30T00:00:00Z")]
    assert [item.success for item in validations(store, ledger)] == [True]


def test_each_site_table_and_expectation_has_its_own_in_order(store: Store):
    judge(store, "a", ["t", "u"], ("units", "age_days", True), ("episodes", "bad_code_pct", True))
    judge(store, "b", ["e"], ("episodes", "bad_code_pct", False), ("episodes", "age_days", True))
    ledger = [
        entry("t", "2026-05-30T00:00:00Z"),
        entry("u", None, "units"),
        entry("e", "2026-01-30T00:00:00Z", site="ELM"),
    ]
    assert [
        (item.sites, item.table, item.expectation, item.success) for item in validations(store, ledger)
    ] == [
        (("ELM",), "episodes", "age_days", True),
        (("ELM",), "episodes", "bad_code_pct", False),
        (("TARN",), "episodes", "bad_code_pct", True),
        (("TARN",), "units", "age_days", True),
    ]


def test_files_are_counted_by_table_and_those_that_are_gone_left_out(store: Store):
    judge(
        store, "a", ["one", "two", "gone"], ("episodes", "age_days", True), ("part_changes", "age_days", True)
    )
    judge(store, "b", ["gone"], ("episodes", "age_days", False))
    ledger = [entry("one", "2026-05-01T00:00:00Z"), entry("two", "2026-05-02T00:00:00Z")]
    assert [(item.table, item.files, item.success) for item in validations(store, ledger)] == [
        ("episodes", 2, True)
    ]


def test_a_store_without_judgements_has_none(store: Store):
    assert validations(store, [entry("one", "2026-05-01T00:00:00Z")]) == []


@pytest.mark.parametrize("text", ["{", "[]", '{"files": []}'])
def test_a_damaged_judgement_is_named(store: Store, text: str):
    judge(store, "a", [])
    store.validation_file("a").write_text(text)
    with pytest.raises(StorageTrouble, match="damaged"):
        validations(store, [])
