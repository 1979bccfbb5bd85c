"""How long the pipeline takes against a floor of the same run. By hand: ``python tests/bench/measures.py DIR``.

The floor of ingest is DuckDB reading the same CSV files as text into one sorted Parquet file each; the floor of the
measures is DuckDB reading and summing the same Parquet columns, times four.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb

from pipeline import run
from synthetic_logs.generate import write_hospitals


def timed(name: str, step: Callable[[], Any]) -> float:
    """Run a step and print its seconds of wall and processor, and the peak memory so far."""
    wall, cpu = time.perf_counter(), time.process_time()
    step()
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name:34} {wall:7.1f} s wall {cpu:7.1f} s processor   peak {peak:6.0f} MB")
    return wall


def ingest_floor(exports: Path, scratch: Path) -> None:
    """Copy each usage file to a sorted Parquet file, unchecked."""
    scratch.mkdir(exist_ok=True)
    for path in sorted(exports.glob("*/usage_samples_*.csv")):
        target = scratch / f"{path.parent.name}_{path.stem}.parquet"
        duckdb.execute(
            f"copy (select * from read_csv('{path}', all_varchar=true) order by unit_id, sampled_at)"
            f" to '{target}' (format parquet, compression zstd)"
        )


def measure_floor(scratch: Path) -> None:
    """Read and sum the columns that the measures need."""
    duckdb.execute(
        "select unit_id, sum(try_cast(flow_l_min as double)), sum(try_cast(dew_point_c as double)), max(sampled_at),"
        f" count(phase) from read_parquet('{scratch}/*.parquet') group by unit_id"
    ).fetchall()


def main(folder: Path, sample_minutes: int) -> None:
    """Run every step on eighteen invented months of sixty units."""
    exports, store = folder / "exports", folder / "store"
    if not exports.exists():
        timed("generate", lambda: write_hospitals(exports, sample_minutes=sample_minutes))
    floor = timed("floor of ingest", lambda: ingest_floor(exports, folder / "scratch"))
    sites = sorted(path for path in exports.iterdir() if path.is_dir())

    def ingest() -> None:
        for site in sites:
            run.ingest(store, [site], None, site / "site.toml", None, datetime.now(UTC), quiet=True)

    first = timed("ingest and validate", ingest)
    again = timed("the same again, nothing new", ingest)
    least = timed("floor of the measures", lambda: measure_floor(folder / "scratch"))
    measures = timed("measures", lambda: run.measure(store, None, quiet=True))
    month = "2026-10"
    timed("report", lambda: run.report(store, month, folder / "report", True))
    print(f"ingest / floor {first / floor:.2f}   nothing new {again:.1f} s")
    print(f"measures / (4 x floor) {measures / (4 * least):.2f}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 5)
