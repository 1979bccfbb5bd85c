"""A tiny ward on disk, and a runner for the command line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipeline.cli import main

RULES = 'site_id = "T"\ntime_zone = "Europe/Dublin"\n'
EPISODES = """patient_ref,unit_id,ward,started_at,ended_at
canary-1,u1,Alder,2026-03-02T08:00:00Z,2026-03-05T08:00:00Z
canary-2,u1,Alder,2026-03-06T08:00:00Z,2026-03-09T08:00:00Z
"""
DISINFECTIONS = """unit_id,started_at,ended_at,outcome
u1,2026-03-01T09:00:00Z,2026-03-01T10:00:00Z,passed
u1,2026-03-10T09:00:00Z,2026-03-10T10:00:00Z,passed
"""
PART_CHANGES = """unit_id,part,fitted_at,lot
u1,circuit,2026-03-02T08:00:00Z,C1
u1,circuit,2026-03-06T08:00:00Z,C2
"""


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    """A folder with a site's rules and the exports of one unit."""
    for name, text in (
        ("site.toml", RULES),
        ("in/episodes.csv", EPISODES),
        ("in/disinfections.csv", DISINFECTIONS),
        ("in/part_changes.csv", PART_CHANGES),
    ):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, "utf-8")
    return tmp_path


@pytest.fixture
def dewledger() -> Callable[..., Result]:
    """Run a command in this process; standard output and error are kept apart."""
    return lambda *words: CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def ingested(ward: Path, dewledger: Callable[..., Result]) -> Path:
    """The ward, ingested into `store`."""
    result = dewledger("ingest", "--store", ward / "store", "--rules", ward / "site.toml", ward / "in")
    assert result.exit_code == 0, result.output
    return ward
