"""The invented hospitals, small enough for every test run, taken through the pipeline once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from pipeline import run
from pipeline.measures.published import Published
from pipeline.store.layout import Store, open_store
from synthetic_logs.generate import write_hospitals

MONTHS, UNITS = 7, 24
NOW = datetime(2026, 11, 25, tzinfo=UTC)


@dataclass(frozen=True)
class Hospitals:
    """The exports, the store they went into, and what was measured."""

    exports: Path
    truth: dict[str, Any]
    store: Store
    published: Published


@pytest.fixture(scope="session")
def hospitals(tmp_path_factory: pytest.TempPathFactory) -> Hospitals:
    """Both sites, generated, ingested and measured."""
    folder = tmp_path_factory.mktemp("tarnholt")
    exports, store = folder / "exports", folder / "store"
    truth = write_hospitals(exports, months=MONTHS, units=UNITS)
    for site in sorted(path for path in exports.iterdir() if path.is_dir()):
        run.ingest(store, [site], None, site / "site.toml", None, NOW, quiet=True)
    published = run.measure(store, None, quiet=True)
    return Hospitals(exports, truth, open_store(store, create=False), published)
