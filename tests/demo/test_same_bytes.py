"""The same inputs, rules and instant give the same bytes, whatever machine and order they meet."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

from synthetic_logs.generate import write_hospitals

_PROGRAM = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from pipeline import run
exports, out, order = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
for site in sorted((path for path in exports.iterdir() if path.is_dir()))[::order]:
    files = sorted(site.glob("*.csv"))[::order]
    run.ingest(out / "store", files, None, site / "site.toml", None, datetime(2026, 11, 25, tzinfo=UTC), True)
month = f"{run.measure(out / 'store', None, True).as_of:%Y-%m}"
run.export(out / "store", out / "tables", "csv")
run.export(out / "store", out / "parquet", "parquet")
run.report(out / "store", month, out / "report", True)
"""


def _bytes_of(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for kind in ("tables", "parquet", "report")
        for path in sorted((folder / kind).iterdir())
    }


def _run(exports: Path, out: Path, order: int, **settings: str) -> dict[str, str]:
    environment = {**os.environ, "DEWLEDGER_KEY": "5a" * 32, **settings}
    command = [sys.executable, "-c", _PROGRAM, str(exports), str(out), str(order)]
    subprocess.run(command, env=environment, check=True, capture_output=True, timeout=300)
    return _bytes_of(out)


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("exports")
    write_hospitals(folder, months=2, units=8)
    return folder


def test_order_threads_zone_and_hash_seed_change_no_byte(exports: Path, tmp_path: Path) -> None:
    first = _run(exports, tmp_path / "a", 1, TZ="UTC", PYTHONHASHSEED="0")
    second = _run(
        exports, tmp_path / "b", -1, TZ="America/New_York", PYTHONHASHSEED="7", POLARS_MAX_THREADS="1"
    )
    assert len(first) > 40
    assert first == second
