"""The text tables that specs need most, each row given as cells between bars."""

from __future__ import annotations


def _table(columns: str, rows: tuple[str, ...]) -> str:
    return "\n".join((columns, *rows))


def episodes(*rows: str) -> str:
    return _table("patient_key | unit_id | ward | started_at | ended_at", rows)


def cycles(*rows: str) -> str:
    return _table("unit_id | started_at | ended_at | outcome", rows)


def parts(*rows: str) -> str:
    return _table("unit_id | patient_key | part | fitted_at | removed_at", rows)


def samples(*rows: str) -> str:
    return _table("unit_id | sampled_at | phase | flow_l_min | dew_point_c | set_dew_point_c", rows)


def sessions(*rows: str) -> str:
    return _table("unit_id | started_at | ended_at | mean_flow_l_min | mean_dew_point_c", rows)


def readings(*rows: str) -> str:
    return _table("unit_id | read_at | cycle_count", rows)
