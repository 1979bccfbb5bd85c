"""When the rows in quarantine happened, as far as they tell: read once more as the profile of their file declares."""

from __future__ import annotations

import polars as pl

from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.headers import Header
from pipeline.ingest.normalise import as_text, with_values
from pipeline.ingest.profiles import CLOCK, DAY, Profile
from pipeline.ingest.read_files import Export
from pipeline.ingest.restate import restate_mended
from pipeline.records import DATE, Table


def local_months(rows: pl.DataFrame, table: Table, profile: Profile, zone: str) -> list[str | None]:
    """Return the month on the site's clock of each row (``raw``, ``source_row``), None where it has no time or
    one that cannot be read."""
    if table.time is None:
        return [None] * rows.height
    column = table.column(table.time)
    alone = Table(table.name, (column,), key=(table.time,), time=table.time)
    fields = [table.time, table.time + DAY, table.time + CLOCK]
    said = rows.select(SOURCE_ROW, *(_said(name) for name in fields))
    told = said.select(SOURCE_ROW, *(name for name in fields if said[name].null_count() < said.height))
    export = Export("", "", table.name, profile, Header(0, {}, ()))
    restated = restate_mended(told, export, alone)
    read = with_values(as_text(restated, alone), alone, profile.time_zone or zone).collect()
    time = pl.col(table.time)
    local = time if column.kind == DATE else time.dt.replace_time_zone("UTC").dt.convert_time_zone(zone)
    return read.select(local.dt.strftime("%Y-%m").alias("month"))["month"].to_list()


def _said(field: str) -> pl.Expr:
    return pl.col("raw").str.json_path_match(f"$['{field}']").alias(field)
