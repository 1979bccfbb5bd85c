"""What the page of a large pool costs. By hand: ``python tests/bench/report.py STORE MONTH DIR``.

The results of a demo store's first site are repeated until it has 60 wards and over 600 units, and its first six months
once more before them, so that there are 24. Page, board pack and workbook are then made as ``dewledger report`` makes
them, in a process of its own; time and memory are those of all its processes together. The floor is drawing the page's
charts one after the other, which the program leaves to a library.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import polars as pl

from pipeline.measures.published import Published, published
from pipeline.signals.control_chart import control_chart
from pipeline.store.layout import open_store

COPIES, UNIT_COPIES = 15, 18
EARLIER = 6
SITE_ROW = "*"
#: Of the columns that are no counts, those that grow with a site; and hours that do not.
SUMS, MIDDLES = (
    ("therapy_days", "water_hung_ml", "water_modelled_ml", "dry_therapy_min"),
    ("median", "p90", "wait"),
)


def enlarged(small: Published, site: str, folder: Path) -> Published:
    """Return the results of one site with many times its wards, units and patients, six months longer."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = {}
    for name in small.tables:
        rows = _longer(small.read(name).filter(site_id=site), name)
        named = [column for column in ("ward", "unit_id") if column in rows.columns]
        whole = _times(rows.filter(pl.col("ward") == SITE_ROW)) if "ward" in named else rows.clear()
        own = rows.filter(pl.col("ward").ne_missing(SITE_ROW)) if "ward" in named else rows
        number = UNIT_COPIES if "unit_id" in named else COPIES if named else 1
        copies = [_copy(own, named, count) for count in range(number)]
        paths[name] = folder / f"{name}.parquet"
        pl.concat([whole, *copies]).write_parquet(paths[name])
    large = Published("bench", small.as_of, {site: small.sites[site]}, paths)
    control_chart(large).write_parquet(paths["control_chart"])
    return large


def _copy(rows: pl.DataFrame, named: list[str], number: int) -> pl.DataFrame:
    """Return the rows with names of their own; there are more units than wards for them."""
    numbers = {"ward": number % COPIES, "unit_id": number}
    return rows.with_columns(pl.col(name) + f"-{numbers[name]:02}" for name in named)


def _times(rows: pl.DataFrame) -> pl.DataFrame:
    """Return the site's own rows with as many times the cases, hours, days and water as there are copies."""
    more = [
        name for name, kind in rows.schema.items()
        if kind.is_integer() or name in SUMS or (name.endswith("_h") and not name.startswith(MIDDLES))
    ]  # fmt: skip
    return rows.with_columns(pl.col(more) * COPIES)


def _longer(rows: pl.DataFrame, name: str) -> pl.DataFrame:
    """Return the rows with those of the first six months once more, six months earlier."""
    times = [column for column, kind in rows.schema.items() if isinstance(kind, pl.Datetime)]
    if "month" in rows.columns:
        first = sorted(rows["month"].unique())[:EARLIER]
        earlier = {month: _months_before(month) for month in first}
        more = rows.filter(pl.col("month").is_in(first)).with_columns(pl.col("month").replace_strict(earlier))
        return pl.concat([more, rows])
    if not times or rows.is_empty():
        return rows
    begins = rows[times[0]].min()
    span = timedelta(days=184)
    more = rows.filter(pl.col(times[0]) < begins + span).with_columns(pl.col(times) - span)
    return pl.concat([more, rows])


def _months_before(month: str) -> str:
    count = int(month[:4]) * 12 + int(month[5:]) - 1 - EARLIER
    return f"{count // 12}-{count % 12 + 1:02d}"


def render(small: Published, month: str, folder: Path) -> None:
    """Write page, board pack and workbook, and print what they took."""
    from reports.render import write_reports

    (site,) = small.sites
    paths = {path.stem: path for path in sorted((folder / "results").glob("*.parquet"))}
    large = Published("bench", small.as_of, small.sites, paths)
    wall = time.perf_counter()
    page, *_ = write_reports(large, [], [], month, folder / "page", poor_data=[], plan={})
    wall = time.perf_counter() - wall
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    cpu = sum(usage.ru_utime + usage.ru_stime for usage in used)
    floor = drawing(large, site, month)
    rows = large.read("part_cover_monthly")
    print(
        f"{site}: {rows['ward'].n_unique() - 1} wards, {large.read('patient_stays')['unit_id'].n_unique()} units, "
        f"{rows['month'].n_unique()} months: {wall:.1f} s wall, {cpu:.1f} s processor, "
        f"{sum(usage.ru_maxrss for usage in used) / 1024:.0f} MB, page {page.stat().st_size / 1e6:.2f} MB; "
        f"{wall / floor:.1f} times the floor of {floor:.1f} s"
    )


def drawing(large: Published, site: str, month: str) -> float:
    """Return the seconds that drawing the page's charts takes."""
    from pipeline.findings import findings
    from reports.charts import spec_of
    from reports.drawn import Order, draw

    told = findings(large, [], [], site, month)
    figures = [figure for section in told.sections for figure in section.figures if figure.table.rows]
    orders = [Order(spec_of(figure, large.sites[site].zone), figure.key) for figure in figures]
    began = time.perf_counter()
    for order in orders:
        draw(order)
    return time.perf_counter() - began


def main(store: Path, month: str, folder: Path) -> None:
    """Enlarge a store's results unless that was done, then render in a fresh process."""
    small = published(open_store(store, create=False))
    site = sorted(small.sites)[0]
    own = Published(small.run_id, small.as_of, {site: small.sites[site]}, small.tables)
    if "--render" in sys.argv:
        render(own, month, folder)
        return
    if not (folder / "results").exists():
        enlarged(own, site, folder / "results")
    subprocess.run([sys.executable, __file__, str(store), month, str(folder), "--render"], check=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]))
