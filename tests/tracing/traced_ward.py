"""Small hand-made wards of the invented Tarnholt hospitals, ingested through the command line."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result

from pipeline.cli import main

RULES = 'time_zone = "UTC"\n'
COLUMNS = {
    "episodes": "patient_ref,unit_id,ward,started_at,ended_at",
    "disinfections": "unit_id,cycle_ref,started_at,ended_at,outcome",
    "part_changes": "unit_id,patient_ref,part,fitted_at,removed_at,lot,item_id",
    "patient_merges": "old_ref,new_ref",
    "cycle_temperatures": "unit_id,measured_at,temperature_c",
    "count_readings": "unit_id,read_at,cycle_count",
    "setup_checks": "unit_id,patient_ref,checked_at,step,result",
    "stock_moves": "move_ref,item_id,moved_at,kind,quantity,location,lot",
    "units": "unit_id,ward,in_service_on,retired_on",
    "unit_status": "unit_id,started_at,ended_at,status",
    "usage_sessions": "unit_id,started_at,ended_at,mean_flow_l_min",
}
Tables = dict[str, list[str]]


def run(*words: object, typed: str | None = None) -> Result:
    """Run a command in this process."""
    return CliRunner().invoke(main, [str(word) for word in words], input=typed)


def answer(*words: object) -> dict[str, Any]:
    """Run a command with --json and return its document."""
    result = run(*words, "--json")
    assert result.exit_code == 0, result.output
    document: dict[str, Any] = json.loads(result.stdout)
    return document


def instant(text: str) -> str:
    """An instant of 2026 in UTC, from '03-02 08:00' or, when in other years, in full."""
    return f"{text if text[4:5] == '-' else f'2026-{text}'}:00Z".replace(" ", "T")


def csv_text(table: str, rows: list[str]) -> str:
    """Rows of cells between bars as the CSV of a table; instants may leave out the year 2026."""
    names = COLUMNS[table].split(",")
    lines = [COLUMNS[table]]
    for row in rows:
        cells = [cell.strip() for cell in row.split("|")]
        assert len(cells) == len(names), row
        lines.append(
            ",".join(
                instant(cell) if cell and name.endswith("_at") else cell
                for name, cell in zip(names, cells, strict=True)
            )
        )
    return "\n".join(lines) + "\n"


def ward_of(folder: Path, tables: Tables, rules: str = "", site: str = "TARN") -> Path:
    """Ingest a ward's tables into the folder's store, and return the store."""
    exports = folder / f"exports-{site}"
    exports.mkdir(parents=True, exist_ok=True)
    for table, rows in tables.items():
        (exports / f"{table}.csv").write_text(csv_text(table, rows), "utf-8")
    (exports / "site.toml").write_text(f'site_id = "{site}"\n{RULES}{rules}', "utf-8")
    result = run("ingest", "--store", folder / "store", "--rules", exports / "site.toml", exports)
    assert result.exit_code in (0, 3), result.output
    assert "refused:" not in result.stderr, result.stderr
    return folder / "store"


#: Makes a ward from tables, rules and site.
MakeWard = Callable[..., Path]
