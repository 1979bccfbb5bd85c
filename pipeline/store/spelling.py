"""One spelling for each identifier of a site, so that all tables join on equal text.

Identifiers are compared without regard to case and surrounding blanks. A unit or an item is spelled as its
own register has it, any other as in the row with the earliest key time that names it.
"""

from __future__ import annotations

import duckdb

from pipeline.records import TABLES, Table
from pipeline.store.contested import instant
from pipeline.store.ledger import LOGS, LedgerEntry
from pipeline.store.row_queries import folded, time_of

_CHOOSE = f"""
    create or replace table settling.spellings as
    select distinct site_id, kind, written, trim(first_value(written) over (
        partition by site_id, kind, {folded("written")}
        order by in_register desc, first_at nulls last, written
    )) as spelling
    from settling.seen
    qualify spelling <> written
"""


def identifiers(table: Table) -> list[str]:
    """Return the identifiers that tables share; a source's own row number only tells rows apart."""
    return [column.name for column in table.columns if column.kind == "id" and column.name != "source_ref"]


def spell_alike(connection: duckdb.DuckDBPyConnection, known: list[LedgerEntry]) -> None:
    """Spell each identifier of schema ``settling`` one way.

    Makes settling.spellings (site_id, kind, written, spelling) of what is not written as it is spelled.
    """
    connection.execute(
        "create or replace table settling.seen "
        "(site_id varchar, kind varchar, written varchar, first_at timestamp, in_register boolean)"
    )
    _note_logged_units(connection, known)
    seen = [
        _seen(table, name)
        for table in TABLES.values()
        if table.name not in LOGS
        for name in identifiers(table)
    ]
    connection.execute(f"insert into settling.seen {' union all '.join(seen)}")
    connection.execute(_CHOOSE)
    connection.execute("drop table settling.seen")
    misspelled = {kind for (kind,) in connection.execute("select kind from settling.spellings").fetchall()}
    for table in TABLES.values():
        for name in misspelled.intersection(identifiers(table)):
            connection.execute(_spell(table, name))


def _seen(table: Table, name: str) -> str:
    return (
        f"select site_id, '{name}', {name}, min({time_of(table)}), {table.key == (name,)} "
        f"from settling.{table.name} where {name} is not null group by all"
    )


def _spell(table: Table, name: str) -> str:
    return (
        f"update settling.{table.name} as rows set {name} = spellings.spelling from settling.spellings "
        f"where spellings.kind = '{name}' and spellings.site_id = rows.site_id "
        f"and spellings.written = rows.{name}"
    )


def _note_logged_units(connection: duckdb.DuckDBPyConnection, known: list[LedgerEntry]) -> None:
    """The ledger names the units of the large logs; their rows are not read for it."""
    spans = [
        (part.site_id, unit, instant(first))
        for entry in known
        if entry.table in LOGS
        for part in entry.parts
        for unit, (first, _) in part.units.items()
    ]
    if spans:
        connection.execute(
            "insert into settling.seen select site_id, 'unit_id', written, min(first_at), false from "
            "(select unnest($1::varchar[]) as site_id, unnest($2::varchar[]) as written, "
            "unnest($3::timestamp[]) as first_at) group by all",
            [list(column) for column in zip(*spans, strict=True)],
        )
