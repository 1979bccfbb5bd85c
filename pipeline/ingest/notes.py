"""What else there is to know of a file whose rows were taken in: said once, for a person to look at."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import polars as pl

from pipeline.ingest.damage import lost_zeros, perhaps_litres, perhaps_no_time, row_limit_reached
from pipeline.ingest.headers import almost_named
from pipeline.ingest.read_files import Export
from pipeline.ingest.sort_rows import Sorted
from pipeline.records import Table


def notes_on(
    export: Export, table: Table, told: Sorted, listed: Callable[[str], pl.Series | None]
) -> Iterator[str]:
    """Say what may have been done to the file: to its columns, its values, its rows, its identifiers.

    ``listed`` gives the units of a site's own list in lower case, None where there is none to compare with.
    """
    yield from almost_named(export.header, table, export.profile)
    yield from (damage.sentence for damage in told.damage)
    if limit := row_limit_reached(export.header.row + told.read):
        yield limit
    if export.from_1904:
        yield "the workbook counts its days from 1904; its dates were read so"
    if export.hidden_rows:
        yield f"{export.hidden_rows:,} rows of the sheet are hidden; they were read like the others"
    for site_id, kept in told.good.items():
        yield from _on_rows(kept.rows, table, listed(site_id))


def _on_rows(rows: pl.DataFrame, table: Table, listed: pl.Series | None) -> Iterator[str]:
    if listed is not None and (lost := lost_zeros(rows["unit_id"].str.to_lowercase(), listed)):
        yield lost
    if early := perhaps_no_time(rows, table):
        yield early
    if "volume_ml" in table.names and (small := perhaps_litres(rows["volume_ml"])):
        yield small
