"""Slips of the files' text: rows that must be refused, repeated rows, a corrected row and an unknown unit.

Each appends lines to finished files, so that no good row is lost by it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from synthetic_logs.slip_records import Slip, expected
from synthetic_logs.visits import Scene

Cells = dict[str, str]


def plant_in_files(folder: Path, scene: Scene) -> list[Slip]:
    """Append the slips to the site's files and return what was planted."""
    planted = [slip for plant in BAD_ROWS for slip in plant(folder, scene)]
    planted += duplicate_rows(folder, scene)
    planted += unknown_unit(folder, scene)
    return planted + corrected_row(folder, scene)


def bad_number(folder: Path, scene: Scene) -> list[Slip]:
    """A flow with a letter O for a nought."""
    return _refused(folder, scene, "usage_samples", "bad_number", lambda cells: {"flow_l_min": "3O.5"})


def out_of_range(folder: Path, scene: Scene) -> list[Slip]:
    """A flow that no unit delivers."""
    return _refused(folder, scene, "usage_samples", "out_of_range", lambda cells: {"flow_l_min": "250"})


def bad_time(folder: Path, scene: Scene) -> list[Slip]:
    """A fitting on a day that no month has."""
    return _refused(
        folder,
        scene,
        "part_changes",
        "bad_time",
        lambda cells: {"fitted_at": f"{cells['fitted_at'][:4]}-02-30T08:15:00Z"},
    )


def bad_code(folder: Path, scene: Scene) -> list[Slip]:
    """An outcome that is in no list."""
    return _refused(folder, scene, "disinfections", "bad_code", lambda cells: {"outcome": "complete"})


def missing_value(folder: Path, scene: Scene) -> list[Slip]:
    """An episode without its unit."""
    return _refused(folder, scene, "episodes", "missing_value", lambda cells: {"unit_id": ""})


def ends_before_start(folder: Path, scene: Scene) -> list[Slip]:
    """A cycle whose start and end were exchanged."""
    return _refused(
        folder,
        scene,
        "disinfections",
        "ends_before_start",
        lambda cells: {"started_at": cells["ended_at"], "ended_at": cells["started_at"]},
    )


def nonexistent_local_time(folder: Path, scene: Scene) -> list[Slip]:
    """A check in the hour that the clocks skipped on 29 March 2026."""
    month, at = "2026-03", "2026-03-29T01:30:00"
    if month not in scene.scenario.month_names[:-1]:
        return []
    path = folder / f"setup_checks_{month}.csv"
    return _refused_in(path, "setup_checks", "nonexistent_local_time", lambda cells: {"checked_at": at})


BAD_ROWS = (
    bad_number,
    out_of_range,
    bad_time,
    bad_code,
    missing_value,
    ends_before_start,
    nonexistent_local_time,
)


def duplicate_rows(folder: Path, scene: Scene) -> list[Slip]:
    """The first three rows of a month of episodes and of part changes were exported twice."""
    planted = []
    for table in ("episodes", "part_changes"):
        path = _file(folder, table, scene, 2)
        cells = [_row(path, number) for number in range(min(3, _rows(path)))]
        for row in cells:
            _append(path, row)
        expect = (expected("ingest", {"file": path.name}, duplicates=len(cells)),)
        planted.append(Slip("duplicate_rows", "", "", "", expect))
    return planted


def unknown_unit(folder: Path, scene: Scene) -> list[Slip]:
    """A reading of a unit that is in no register."""
    path = _file(folder, "count_readings", scene, 3)
    unit_id = scene.site.unit_name.format(scene.site.first_unit + 900)
    cells = _row(path, 0) | {"unit_id": unit_id}
    _append(path, cells)
    expect = (expected("ingest", {"file": path.name}, warnings={"unknown_unit": 1}),)
    return [Slip("unknown_unit", unit_id, "", cells["read_at"], expect)]


def corrected_row(folder: Path, scene: Scene) -> list[Slip]:
    """A fitting came again, with another lot, in the file of the month after.

    The plain layout states no export time, so the file of the larger SHA-256 decides which lot is kept.
    """
    if scene.scenario.months < 2:
        return []
    path, later = _file(folder, "part_changes", scene, 0), _file(folder, "part_changes", scene, 1)
    cells = next(row for row in (_row(path, number) for number in range(_rows(path))) if row["unit_id"])
    corrected = cells | {"lot": f"{cells['lot']}-R"}
    _append(later, corrected)
    kept = corrected["lot"] if _sha256(later) > _sha256(path) else cells["lot"]
    where = {"unit_id": cells["unit_id"], "part": cells["part"], "fitted_at": cells["fitted_at"]}
    expect = (expected("part_spans", where, lot=kept), expected("ingest", {"file": later.name}, corrected=1))
    return [Slip("corrected_row", cells["unit_id"], "", cells["fitted_at"], expect, cells["part"])]


def _refused(
    folder: Path, scene: Scene, table: str, reason: str, change: Callable[[Cells], Cells]
) -> list[Slip]:
    """Spoil a copy of a row in two months of the table."""
    months = sorted({scene.scenario.months // 4, scene.scenario.months * 5 // 6})
    return [
        slip
        for month in months
        for slip in _refused_in(_file(folder, table, scene, month), table, reason, change)
    ]


def _refused_in(path: Path, table: str, reason: str, change: Callable[[Cells], Cells]) -> list[Slip]:
    cells = _row(path, 0)
    spoilt = cells | change(cells)
    row_number = _append(path, spoilt)
    where = {"file": path.name, "row": row_number}
    expect = (expected("quarantine", where, source_table=table, reasons=[reason]),)
    return [Slip(f"bad_row_{reason}", cells.get("unit_id", ""), cells.get("patient_ref", ""), "", expect)]


def _file(folder: Path, table: str, scene: Scene, month: int) -> Path:
    """Return the table's file of that month of the scenario, or the last file before it."""
    files = sorted(folder.glob(f"{table}_*.csv"))
    wanted = folder / f"{table}_{scene.scenario.month_names[min(month, scene.scenario.months - 1)]}.csv"
    return max((path for path in files if path <= wanted), default=files[0])


def _row(path: Path, number: int) -> Cells:
    """Return a row of the file by name; no cell that this generator writes holds a comma or a quote."""
    with path.open(encoding="utf-8") as lines:
        header = next(lines).rstrip("\n").split(",")
        for _ in range(number):
            next(lines)
        return dict(zip(header, next(lines).rstrip("\n").split(","), strict=True))


def _rows(path: Path) -> int:
    return path.read_bytes().count(b"\n") - 1


def _append(path: Path, cells: Cells) -> int:
    """Append a row and return its number, where the header is row 1."""
    with path.open("ab") as file:
        file.write((",".join(cells.values()) + "\n").encode())
    return _rows(path) + 1


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
