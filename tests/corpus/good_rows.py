"""Rows as they should be, which the files of the corpus spoil."""

from __future__ import annotations

from bad_file import text_of

#: A good row of each table; {file} and {row} keep the rows of one store apart.
GOOD: dict[str, dict[str, str]] = {
    "units": {
        "unit_id": "{file}-{row}",
        "ward": "Alder",
        "in_service_on": "2024-02-29",
        "retired_on": "2026-05-01",
    },
    "unit_status": {
        "unit_id": "{file}",
        "started_at": "2026-03-02T08:0{row}",
        "ended_at": "2026-03-03T08:00",
        "status": "repair",
    },
    "usage_samples": {
        "unit_id": "{file}",
        "sampled_at": "2026-03-02T08:0{row}",
        "flow_l_min": "30",
        "dew_point_c": "37",
        "oxygen_pct": "40",
        "phase": "in_use",
        "set_dew_point_c": "37",
    },
    "usage_sessions": {
        "unit_id": "{file}",
        "started_at": "2026-03-02T08:0{row}",
        "ended_at": "2026-03-02T09:00",
        "mean_flow_l_min": "30",
        "mean_dew_point_c": "36.5",
    },
    "episodes": {
        "patient_ref": "m-{file}-{row}",
        "unit_id": "{file}",
        "ward": "Alder",
        "started_at": "2026-03-0{row}T08:00",
        "ended_at": "2026-03-0{row}T20:00",
    },
    "patient_merges": {
        "old_ref": "o-{file}-{row}",
        "new_ref": "n-{file}-{row}",
        "merged_at": "2026-03-02T08:00",
    },
    "part_changes": {
        "unit_id": "{file}",
        "patient_ref": "m-{file}",
        "part": "water_bag",
        "fitted_at": "2026-03-0{row}T08:00",
        "removed_at": "2026-03-0{row}T20:00",
        "lot": "L{row}",
        "expires_on": "2027-03-31",
        "volume_ml": "1000",
        "item_id": "W1",
        "reason": "due",
    },
    "disinfections": {
        "unit_id": "{file}",
        "cycle_ref": "c{row}",
        "started_at": "2026-03-0{row}T08:00",
        "ended_at": "2026-03-0{row}T09:00",
        "outcome": "passed",
        "cycle_count": "1{row}",
        "storage_protected": "yes",
        "status_tagged": "no",
    },
    "cycle_temperatures": {
        "unit_id": "{file}",
        "measured_at": "2026-03-02T08:0{row}",
        "temperature_c": "87.5",
    },
    "count_readings": {"unit_id": "{file}", "read_at": "2026-03-02T08:0{row}", "cycle_count": "1{row}"},
    "setup_checks": {
        "unit_id": "{file}",
        "patient_ref": "m-{file}",
        "checked_at": "2026-03-02T08:0{row}",
        "step": "water level seen",
        "result": "done",
    },
    "items": {
        "item_id": "{file}-{row}",
        "part": "circuit",
        "pack_size": "10",
        "unit_price": "129.5",
        "lead_time_days": "14",
        "lead_time_sd_days": "2",
        "shelf_life_days": "700",
        "min_order_packs": "1",
    },
    "stock_moves": {
        "move_ref": "{file}-{row}",
        "item_id": "C1",
        "moved_at": "2026-03-02T08:0{row}",
        "kind": "receipt",
        "quantity": "20",
        "location": "store",
        "lot": "L{row}",
        "expires_on": "2027-03-31",
    },
    "ward_census": {"ward": "{file}", "counted_on": "2026-03-0{row}", "patients": "1{row}"},
}  # fmt: skip


def rows_of(table: str, file: str, count: int = 3) -> list[dict[str, str]]:
    """Return good rows of a table that stand in no other file of the corpus."""
    return [
        {name: text.format(file=file, row=row) for name, text in GOOD[table].items()}
        for row in range(1, count + 1)
    ]


def as_text(rows: list[dict[str, str]]) -> str:
    """Return rows as the plain layout has them."""
    return text_of([list(rows[0]), *(list(row.values()) for row in rows)])


def store_of(table: str) -> str:
    """Where a list of units is, units that it has not are warned of: it has a store to itself."""
    return "register" if table == "units" else "wards"
