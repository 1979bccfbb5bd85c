"""A small site on disk, taken to a measured store once."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from planning_site import FORMULA, NOW, RULES, ZEROS

from pipeline import run
from pipeline.planning.records import month_after


def _write(path: Path, header: str, rows: Iterable[tuple[object, ...]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(header.split())
        writer.writerows(rows)


def _exports(folder: Path) -> None:
    """Fourteen months of a ward of three units; its stock is counted each month and ordered now and then."""
    folder.mkdir()
    episodes, changes, cycles, moves = [], [], [], []
    for number in range(14):
        month = month_after("2024-11", number)
        for place in range(12 + 4 * (number % 3)):
            begin = datetime.fromisoformat(f"{month}-{place * 2 % 26 + 1:02d} {8 + place % 3:02d}:00")
            end = begin + timedelta(hours=24 + 9 * (place % 5))
            unit, patient = f"u{place % 3 + 1}-{place}", f"p{number}-{place}"
            episodes.append((patient, unit, "Alder", f"{begin}Z", f"{end}Z"))
            changes.append((unit, "circuit", f"{begin}Z", ZEROS))
            changes += [
                (unit, "water_bag", f"{begin + timedelta(hours=20 * bag)}Z", FORMULA) for bag in range(2)
            ]
            cycles.append((unit, f"{end + timedelta(hours=3)}Z", f"{end + timedelta(hours=4)}Z", "passed"))
        for item in (ZEROS, FORMULA):
            moves.append((f"c{number}{item}", item, f"{month}-01 06:00Z", "count", 60, "store"))
            moves.append((f"i{number}{item}", item, f"{month}-15 06:00Z", "issue", 20, "Alder"))
            moves.append((f"o{number}{item}", item, f"{month}-20 06:00Z", "ordered", 40, "store"))
            moves.append((f"r{number}{item}", item, f"{month}-28 06:00Z", "receipt", 40, "store"))
    _write(folder / "episodes.csv", "patient_ref unit_id ward started_at ended_at", episodes)
    _write(folder / "part_changes.csv", "unit_id part fitted_at item_id", changes)
    _write(folder / "disinfections.csv", "unit_id started_at ended_at outcome", cycles)
    _write(folder / "stock_moves.csv", "move_ref item_id moved_at kind quantity location", moves)
    items = [(ZEROS, "circuit", 10, 268.5, 9, 2, 400, 2), (FORMULA, "water_bag", 24, 61.2, 5, 1, 700, 1)]
    header = (
        "item_id part pack_size unit_price lead_time_days lead_time_sd_days shelf_life_days min_order_packs"
    )
    _write(folder / "items.csv", header, items)


@pytest.fixture(scope="session")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of that site, measured; tests that write to it take a copy."""
    folder = tmp_path_factory.mktemp("planning")
    _exports(folder / "in")
    (folder / "site.toml").write_text(RULES, "utf-8")
    run.ingest(folder / "store", [folder / "in"], None, folder / "site.toml", None, NOW, quiet=True)
    run.measure(folder / "store", "2026-01-01T00:00:00Z", quiet=True)
    return folder / "store"


@pytest.fixture
def store(measured: Path, tmp_path: Path) -> Path:
    """A copy of the measured store, with its key."""
    shutil.copytree(measured, tmp_path / "store")
    shutil.copy(measured.with_name("store.key"), tmp_path / "store.key")
    return tmp_path / "store"


@pytest.fixture
def dewledger() -> Callable[..., object]:
    """Run a command in this process."""
    from click.testing import CliRunner

    from pipeline.cli import main

    return lambda *words: CliRunner().invoke(main, [str(word) for word in words])
