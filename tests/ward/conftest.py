"""A small ward of the invented Tarnholt hospitals on disk: two months of exports, ingested and measured once."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from small_ward import EXPORTS, NOW, RULES, write_page

from pipeline import run
from pipeline.cli import main
from pipeline.ingest import expectations


@pytest.fixture(scope="session")
def dewledger() -> Callable[..., Result]:
    """Run a command in this process; standard output and error are kept apart."""
    return lambda *words: CliRunner().invoke(main, [str(word) for word in words])


@contextlib.contextmanager
def _without_great_expectations() -> Iterator[None]:
    """Importing it takes seconds, and nothing here rests on it; tests/unit/test_expectations.py covers it."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr(expectations, "start_importing", lambda: None)
        monkeypatch.setattr(expectations, "judge_batch", lambda store, facts: ())
        yield


@pytest.fixture(autouse=True)
def _quick() -> Iterator[None]:
    """Only while a test of this folder runs: other folders' tests may share its process."""
    with _without_great_expectations():
        yield


@pytest.fixture(scope="session")
def measured_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ward, ingested and measured; for tests that only read."""
    folder = tmp_path_factory.mktemp("ward")
    (folder / "in").mkdir()
    (folder / "site.toml").write_text(RULES, "utf-8")
    for name, text in EXPORTS.items():
        (folder / "in" / f"{name}.csv").write_text(text, "utf-8")
    with _without_great_expectations():
        run.ingest(folder / "store", [folder / "in"], None, folder / "site.toml", None, NOW, quiet=True)
    run.measure(folder / "store", None, quiet=True)
    return folder


@pytest.fixture
def ward(measured_once: Path, tmp_path: Path) -> Path:
    """A copy of the measured ward, to change."""
    return shutil.copytree(measured_once, tmp_path / "ward")


@pytest.fixture(scope="session")
def closed_once(measured_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ward with May closed."""
    folder = shutil.copytree(measured_once, tmp_path_factory.mktemp("closed") / "ward")
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr("reports.render.write_reports", write_page)
        run.close(folder / "store", "2026-05", True, NOW, quiet=True)
    return folder


@pytest.fixture
def closed(closed_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the ward with May closed, to change."""
    monkeypatch.setattr("reports.render.write_reports", write_page)
    return shutil.copytree(closed_once, tmp_path / "ward")
