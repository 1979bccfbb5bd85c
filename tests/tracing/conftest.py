"""Fixtures of the tests of tracing."""

from __future__ import annotations

from pathlib import Path

import pytest
from traced_ward import MakeWard, Tables, ward_of

from pipeline.ingest import expectations


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out what takes seconds and what no test here looks at."""
    monkeypatch.setattr(expectations, "start_importing", lambda: None)
    monkeypatch.setattr(expectations, "judge_batch", lambda store, facts: ())
    monkeypatch.delenv("DEWLEDGER_KEY", raising=False)


@pytest.fixture
def ward(tmp_path: Path) -> MakeWard:
    """Ingest tables, given as rows of cells between bars, into a store of this test."""

    def make(tables: Tables, rules: str = "", site: str = "TARN") -> Path:
        return ward_of(tmp_path, tables, rules, site)

    return make
