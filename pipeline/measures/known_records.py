"""The records as they were known at `as_of`, as the schema `records` (contract section 1).

Rows that start later are left out; an end that lies later is not yet known. Merged patient references stand
as the one person that they turned out to be.
"""

from __future__ import annotations

from datetime import date, datetime

import duckdb
import polars as pl

from pipeline.records import DATE, TABLES, Table, stored_name

#: Scanned where it lies; the other tables are a thousand times smaller and kept in memory.
_LARGE = "usage_samples"


def latest_event(connection: duckdb.DuckDBPyConnection) -> datetime | None:
    """Return the latest instant of any event in the schema `settled`, None when there is none."""
    instants = [
        f"select max({column.name}) as latest from settled.{table.name}"
        for table in TABLES.values()
        for column in table.columns
        if column.name in (table.time, table.ended) and column.kind != DATE
    ]
    row = connection.execute(f"select max(latest) from ({' union all '.join(instants)})").fetchone()
    return row[0] if row else None


def first_day(connection: duckdb.DuckDBPyConnection) -> date | None:
    """Return the earliest day of any record, less one day for zones east of UTC; None without records."""
    firsts = [
        f"select cast(min({table.time}) as date) as earliest from settled.{table.name}"
        for table in TABLES.values()
        if table.time
    ]
    row = connection.execute(f"select min(earliest) - 1 from ({' union all '.join(firsts)})").fetchone()
    return row[0] if row else None


def create(connection: duckdb.DuckDBPyConnection) -> None:
    """Fill the schema `records` from `settled`, as of the instant in run.settings."""
    connection.execute("create schema records")
    _store_merges(connection)
    for table in TABLES.values():
        kind = "view" if table.name == _LARGE else "table"
        connection.execute(f"create {kind} records.{table.name} as {_known(table)}")


def _known(table: Table) -> str:
    """Return the query for one table's rows as they were known."""
    columns = [f"rows.{'site_id'}"]
    joins, filters = ["join run.settings using (site_id)"], []
    for column in table.columns:
        name = stored_name(column)
        if column.kind == "patient" and table.name != "patient_merges":
            joins.append(
                f"left join run.patient_merges as {name}_merge"
                f" on rows.site_id = {name}_merge.site_id and rows.{name} = {name}_merge.old_key"
            )
            columns.append(f"coalesce({name}_merge.new_key, rows.{name}) as {name}")
        elif name == table.ended and table.column(name).required:
            columns.append(f"least(rows.{name}, settings.as_of) as {name}")
        elif name == table.ended:
            columns.append(f"case when rows.{name} <= settings.as_of then rows.{name} end as {name}")
        else:
            columns.append(f"rows.{name}")
    if table.time and table.column(table.time).kind == DATE:
        columns.append("days.starts_at as counted_at")
        joins.append(f"join run.days on rows.site_id = days.site_id and rows.{table.time} = days.local_date")
        filters.append("days.starts_at <= settings.as_of")
    elif table.time:
        filters.append(f"rows.{table.time} <= settings.as_of")
    if table.name == "part_changes":
        columns.append(
            "row_number() over (order by all_columns) as row_no".replace("all_columns", _all(table))
        )
    query = f"select {', '.join(columns)} from settled.{table.name} as rows {' '.join(joins)}"
    if filters:
        query += f" where {' and '.join(filters)}"
    if table.name == "episodes":
        # Two references of one person may leave the same start twice; the later end stands.
        query += (
            " qualify row_number() over (partition by rows.site_id, rows.unit_id,"
            " coalesce(patient_key_merge.new_key, rows.patient_key), rows.started_at"
            " order by rows.ended_at desc nulls first, rows.ward) = 1"
        )
    return query


def _all(table: Table) -> str:
    return ", ".join(f"rows.{name}" for name in ("site_id", *map(stored_name, table.columns)))


def _store_merges(connection: duckdb.DuckDBPyConnection) -> None:
    """Resolve chains of merged references, so that each old key leads to the last new one."""
    rows = connection.execute(
        "select site_id, old_key, new_key from settled.patient_merges join run.settings using (site_id)"
        " where coalesce(merged_at <= as_of, true) order by all"
    ).fetchall()
    steps = {(site, old): new for site, old, new in rows}
    frame = pl.DataFrame(
        [(site, old, _last(steps, site, old)) for site, old in steps],
        schema={"site_id": pl.String, "old_key": pl.String, "new_key": pl.String},
        orient="row",
    )
    connection.register("merges", frame)
    connection.execute("create table run.patient_merges as select * from merges where old_key <> new_key")
    connection.unregister("merges")


def _last(steps: dict[tuple[str, str], str], site: str, key: str) -> str:
    """Follow a reference to its last one; a ring of references ends at the smallest key in it."""
    seen = [key]
    while (key := steps.get((site, key), key)) != seen[-1]:
        if key in seen:
            return min(seen[seen.index(key) :])
        seen.append(key)
    return key
