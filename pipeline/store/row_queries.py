"""The SQL of settling, put together from the canonical tables; no name in it comes from a site."""

from __future__ import annotations

from pathlib import Path

from pipeline.records import Table, stored_name
from pipeline.store.columns import sql_type, stored_key

#: Of two rows with one key the later export wins, then the larger hash, then the later row.
_EARLIEST_FIRST = "exported_at nulls first, file_sha256, source_row"

#: More rows than a file can have.
_ROWS_PER_FILE = 10**12

_EARLIER_THAN_WINDOW = (
    "(coalesce(rows.exported_at, '-infinity'::timestamp), rows.file_sha256) "
    "< (coalesce(windows.exported_at, '-infinity'::timestamp), windows.sha256)"
)


def stored_rows(table: Table, files: list[Path]) -> str:
    """Return a SELECT of all rows of some stored files, each with the file it came from."""
    if not files:
        types = {"site_id": "varchar", **{stored_name(column): sql_type(column) for column in table.columns}}
        types |= {
            "file_sha256": "varchar",
            "source_row": "bigint",
            "exported_at": "timestamp",
            "path": "varchar",
        }
        nothing = ", ".join(f"cast(null as {kind}) as {name}" for name, kind in types.items())
        return f"select {nothing} where false"
    paths = ", ".join(literal(str(path)) for path in files)
    columns = settled_columns(table).replace(
        "file_sha256", "left(parse_filename(filename), 64) as file_sha256"
    )
    return (
        f"select {columns}, exported_at, filename as path "
        f"from read_parquet([{paths}], hive_partitioning = false, filename = true)"
    )


def contested_rows(table: Table, rows: str) -> str:
    """Return a SELECT of those of a log's rows that lie in a contested stretch of their file."""
    return f"select rows.* from ({rows}) as rows semi join settling.stretches on {_in_stretch(table)}"


def log_view(table: Table, plain: list[Path], mixed: list[Path]) -> str:
    """Return a SELECT of a whole log: plain files, the rest of the mixed ones, and what was settled."""
    columns = settled_columns(table)
    spelled = columns.replace("unit_id", "coalesce(spellings.spelling, rows.unit_id) as unit_id", 1)
    spelled = spelled.replace("site_id", "rows.site_id", 1)
    selects = [f"select {columns} from settling.{table.name}_settled"]
    if plain:
        selects.append(f"select {columns} from ({stored_rows(table, plain)})")
    if mixed:
        selects.append(
            f"select {spelled} from ({stored_rows(table, mixed)}) as rows "
            "left join settling.spellings on spellings.kind = 'unit_id' "
            "and spellings.site_id = rows.site_id and spellings.written = rows.unit_id "
            f"anti join settling.stretches on {_in_stretch(table)}"
        )
    return " union all ".join(selects)


def with_windows(table: Table, rows: str) -> str:
    """Return a SELECT of rows, each with the latest export, if any, that replaces it."""
    return f"""
        select rows.* exclude (path), (
            select max_by(windows.sha256, {{'at': coalesce(windows.exported_at, '-infinity'::timestamp),
                'sha256': windows.sha256}})
            from settling.windows
            where windows.table_name = '{table.name}' and windows.site_id = rows.site_id
                and windows.sha256 <> rows.file_sha256 and {_EARLIER_THAN_WINDOW}
                and coalesce({time_of(table)} between windows.first_at and windows.last_at, true)
        ) as replaced_by
        from ({rows}) as rows
    """


def without_windows(rows: str) -> str:
    """Return a SELECT of rows that no export replaces."""
    return f"select * exclude (path), cast(null as varchar) as replaced_by from ({rows})"


def settled_columns(table: Table) -> str:
    """Return the columns of a settled table."""
    return ", ".join(
        ["site_id", *(stored_name(column) for column in table.columns), "file_sha256", "source_row"]
    )


def settled_rows(table: Table) -> str:
    """Return a SELECT of the rows that stand, one per key, in order of the key.

    Exports are numbered in the order in which they win, so that one whole number compares two rows. The
    winner of a key is found first, and then dropped where a later window left it out: otherwise what it
    corrected would come back.
    """
    return f"""
        with exports as (
            select exported_at, file_sha256,
                row_number() over (order by exported_at nulls first, file_sha256) as place
            from (select distinct exported_at, file_sha256 from settling.{table.name})
        ),
        winners as (
            select max_by(rows.rowid, exports.place * {_ROWS_PER_FILE} + rows.source_row) as winner
            from settling.{table.name} as rows
            join exports on exports.file_sha256 = rows.file_sha256
                and exports.exported_at is not distinct from rows.exported_at
            group by {_key(table)}
        )
        select {settled_columns(table)} from settling.{table.name}
        where replaced_by is null and rowid in (select winner from winners)
        order by {_key(table)}
    """


def changed_values(table: Table) -> str:
    """Return a SELECT of every value that a later row changed, and of every row that a window withdrew."""
    compared = [stored_name(column) for column in table.columns if column.name != "source_ref"]
    pairs = ", ".join(
        f"{{'column': '{name}', 'old': lag({as_text(name)}) over earlier, 'new': {as_text(name)}}}"
        for name in compared
    )
    return f"""
        with told as (
            select site_id, {_key_text(table)} as key, file_sha256, source_row, replaced_by,
                row_number() over earlier as place, lead(source_row) over earlier is null as is_last,
                [{pairs}] as pairs
            from settling.{table.name}
            window earlier as (partition by {_key(table)} order by {_EARLIEST_FIRST})
        ),
        corrected as (
            select site_id, key, file_sha256, source_row, unnest(pairs, recursive := true)
            from told where place > 1
        )
        select '{table.name}' as "table", site_id, key, "column", old, new, file_sha256, source_row
        from corrected where old is distinct from new
        union all
        select '{table.name}', site_id, key, '*', 'recorded', 'withdrawn', replaced_by, null
        from told where is_last and replaced_by is not null
    """


def time_of(table: Table) -> str:
    """Return a row's key time as SQL; null for a table without one."""
    return f"cast({table.time} as timestamp)" if table.time else "cast(null as timestamp)"


def literal(text: str) -> str:
    """Return text as a SQL string.

    >>> literal("St Anne's")
    "'St Anne''s'"
    """
    return "'" + text.replace("'", "''") + "'"


def as_text(name: str) -> str:
    """Return a column as text; instants as ISO 8601."""
    return f"strftime({name}, '%Y-%m-%dT%H:%M:%SZ')" if name.endswith("_at") else f"cast({name} as varchar)"


def folded(name: str) -> str:
    """Return an identifier as it is compared: without regard to case and surrounding blanks."""
    return f"lower(trim({name}))"


def _in_stretch(table: Table) -> str:
    return (
        f"stretches.path = rows.path and rows.{table.time} between stretches.first_at and stretches.last_at"
    )


def _key(table: Table) -> str:
    """Return what rows are the same by: the source's own number, or the key's columns where it gives none.

    The identifiers in it are spelled alike by then, so that only the source's number is still to be folded.
    """
    parts = list(stored_key(table))
    if table.name == "part_changes":
        parts = [
            part.replace("patient_key", "case when unit_id is null then patient_key end") for part in parts
        ]
    if "source_ref" in table.names:
        parts = [folded("source_ref"), *(f"case when source_ref is null then {part} end" for part in parts)]
    return ", ".join(["site_id", *parts])


def _key_text(table: Table) -> str:
    named = ", ".join(f"'{name}=' || {as_text(name)}" for name in stored_key(table))
    text = f"concat_ws(', ', {named})"
    if "source_ref" in table.names:
        return f"case when source_ref is null then {text} else 'source_ref=' || source_ref end"
    return text
