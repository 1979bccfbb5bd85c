"""The wheel carries all that it needs: it works installed, far from the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_the_installed_wheel_takes_exports_to_tables(ward: Path) -> None:
    built = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(ward / "dist")],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert built.returncode == 0, built.stderr
    (wheel,) = (ward / "dist").glob("*.whl")
    zipfile.ZipFile(wheel).extractall(ward / "site")
    # The checkout is on the path of an editable install; ahead of it stands the wheel, and it must suffice.
    environment = {**os.environ, "PYTHONPATH": str(ward / "site")}
    for words in (
        ["ingest", "--store", "store", "--rules", "site.toml", "in"],
        ["measure", "--store", "store"],
        ["export", "--store", "store", "--to", "out"],
        ["report", "--store", "store", "--month", "2026-03", "--to", "report", "--allow-poor-data"],
    ):
        command = [sys.executable, "-m", "pipeline.cli", *words]
        done = subprocess.run(command, cwd=ward, env=environment, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    where = "import pipeline.measures.sql_files as models; print(models.SQL_FOLDER)"
    found = subprocess.run(
        [sys.executable, "-c", where], cwd=ward, env=environment, capture_output=True, text=True
    )
    assert found.stdout.strip() == str(ward / "site" / "sql")
    assert (ward / "out" / "changeovers.csv").exists()
    assert {path.suffix for path in (ward / "report").iterdir()} == {".html", ".pdf", ".xlsx"}
