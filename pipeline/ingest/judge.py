"""One lazy pass over a block of text rows: values, broken rules, emptied values."""

from __future__ import annotations

import datetime

import polars as pl

from pipeline.ingest.normalise import EXPORTED_AT, as_text, with_values
from pipeline.ingest.row_rules import (
    KNOWN_UNTIL,
    KNOWN_UNTIL_ON,
    ROW_RULES,
    broken_by_rule,
    droppable,
    flag_name,
    flags,
)
from pipeline.records import Table

QUARANTINED = "quarantined"


def judge(rows: pl.DataFrame, table: Table, zone: str, now: datetime.datetime) -> pl.DataFrame:
    """Return the rows with every column's text, value and broken rules, and whether each is ``quarantined``.

    ``rows`` are declared columns as text with ``source_row``; ``now`` (UTC, without zone) bounds the times of
    rows that do not carry their export's own.
    """
    latest = pl.coalesce(EXPORTED_AT.name, pl.lit(now, pl.Datetime("us")))
    latest_on = latest.dt.replace_time_zone("UTC").dt.convert_time_zone(zone).dt.date()
    kept_out = list(broken_by_rule(table, quarantines=True).values())
    return (
        with_values(as_text(rows, table), table, zone)
        .with_columns(latest.alias(KNOWN_UNTIL), latest_on.alias(KNOWN_UNTIL_ON))
        .with_columns(flags(table))
        .with_columns(pl.any_horizontal(kept_out).alias(QUARANTINED), *_emptied(table))
        .collect()
    )


def _emptied(table: Table) -> list[pl.Expr]:
    dropped = next(rule for rule in ROW_RULES if rule.name == "value_dropped")
    return [pl.when(~pl.col(flag_name(dropped, c.name))).then(c.name).alias(c.name) for c in droppable(table)]
