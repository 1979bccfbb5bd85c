"""A small ward of the invented Tarnholt hospitals on disk: two months of exports, ingested and measured once."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipeline import run
from pipeline.cli import main
from pipeline.ingest import expectations

RULES = 'site_id = "TARN"\ntime_zone = "Europe/Dublin"\n'
NOW = datetime.datetime(2026, 6, 1, 12, 0)  # UTC, as the store has it

EXPORTS = {
    "units": "unit_id,ward\nu1,Alder\nu2,Birch\n",
    "episodes": (
        "patient_ref,unit_id,ward,started_at,ended_at\n"
        "p1,u1,Alder,2026-04-02T08:00:00Z,2026-04-05T08:00:00Z\n"
        "p2,u1,Alder,2026-04-06T08:00:00Z,2026-04-09T08:00:00Z\n"
        "p3,u2,Birch,2026-05-02T08:00:00Z,2026-05-05T08:00:00Z\n"
        "p4,u2,Birch,2026-05-06T08:00:00Z,2026-05-09T08:00:00Z\n"
        "p5,u1,Alder,2026-05-20T08:00:00Z,2026-05-22T08:00:00Z\n"
    ),
    "disinfections": (
        "unit_id,started_at,ended_at,outcome,storage_protected\n"
        "u1,2026-04-01T09:00:00Z,2026-04-01T10:00:00Z,passed,true\n"
        "u1,2026-04-05T09:00:00Z,2026-04-05T10:00:00Z,passed,false\n"
        "u1,2026-04-09T09:00:00Z,2026-04-09T10:00:00Z,passed,\n"
        "u2,2026-05-01T09:00:00Z,2026-05-01T10:00:00Z,passed,true\n"
        "u2,2026-05-09T09:00:00Z,2026-05-09T10:00:00Z,passed,true\n"
        "u1,2026-05-22T09:00:00Z,2026-05-22T10:00:00Z,passed,true\n"
    ),
    "part_changes": (
        "unit_id,part,fitted_at,removed_at,lot\n"
        "u1,circuit,2026-04-02T08:00:00Z,,C1\n"
        "u1,circuit,2026-04-06T08:00:00Z,,C2\n"
        "u2,circuit,2026-05-02T08:00:00Z,,C3\n"
        "u1,circuit,2026-05-20T08:00:00Z,,C4\n"
    ),
    "setup_checks": (
        "unit_id,checked_at,step,result\n"
        "u1,2026-04-02T07:00:00Z,unit looks clean,done\n"
        "u2,2026-05-02T07:00:00Z,unit looks clean,not_done\n"
    ),
}


@pytest.fixture(scope="session")
def dewledger() -> Callable[..., Result]:
    """Run a command in this process; standard output and error are kept apart."""
    return lambda *words: CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(scope="session", autouse=True)
def _without_great_expectations():
    """Importing it takes seconds, and nothing here rests on it; tests/unit/test_expectations.py covers it."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr(expectations, "start_importing", lambda: None)
        monkeypatch.setattr(expectations, "judge_batch", lambda store, facts: ())
        yield


def ingest_text(folder: Path, name: str, text: str) -> None:
    """Ingest one more export into the ward's store."""
    path = folder / "in" / f"{name}.csv"
    path.write_text(text, "utf-8")
    run.ingest(folder / "store", [path], "TARN", None, None, NOW, quiet=True)


@pytest.fixture(scope="session")
def measured_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ward, ingested and measured; for tests that only read."""
    folder = tmp_path_factory.mktemp("ward")
    (folder / "in").mkdir()
    (folder / "site.toml").write_text(RULES, "utf-8")
    for name, text in EXPORTS.items():
        (folder / "in" / f"{name}.csv").write_text(text, "utf-8")
    run.ingest(folder / "store", [folder / "in"], None, folder / "site.toml", None, NOW, quiet=True)
    run.measure(folder / "store", None, quiet=True)
    return folder


@pytest.fixture
def ward(measured_once: Path, tmp_path: Path) -> Path:
    """A copy of the measured ward, to change."""
    return shutil.copytree(measured_once, tmp_path / "ward")


def write_page(published, ledger, validation, month: str, to: Path, *, poor_data) -> list[Path]:
    """Stand in for the report, which has its own tests, where a page's bytes are all that matters."""
    (to / "TARN.html").write_text(f"<html>{month} {len(ledger)}</html>", "utf-8")
    return [to / "TARN.html"]


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
