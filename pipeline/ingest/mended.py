"""A file that is read again keeps what people did to its rows since: mended ones stay in, discarded ones out."""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.repeats import Distinct, distinct, stored_part
from pipeline.ingest.sort_rows import Sorted
from pipeline.records import Table
from pipeline.store.columns import good_schema
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry


def as_mended_before(store: Store, before: LedgerEntry, told: Sorted, table: Table) -> Sorted:
    """Return what a file tells anew, with the mended and discarded rows of its earlier entry in their place."""
    discarded = [int(row) for row in before.discarded]
    touched = [*before.repaired, *discarded]
    if not touched:
        return told
    kept = {site_id: _without(rows, touched) for site_id, rows in told.good.items()}
    quarantined = told.quarantined.filter(~pl.col(SOURCE_ROW).is_in(touched))
    stored = pl.concat([pl.DataFrame(schema=good_schema(table)), *_stored(store, before)])
    mended = stored.filter(pl.col(SOURCE_ROW).is_in(list(before.repaired)))
    good = {
        site_id: _with(kept.get(site_id), mended.filter(pl.col("site_id") == site_id), table)
        for site_id in sorted({*kept, *mended["site_id"].unique()})
    }
    # What is counted is every row once: those that are neither stored nor quarantined now were duplicates.
    told_rows = sum(rows.rows.height + rows.dropped for rows in good.values())
    unseen = told.read - told.skipped - len(discarded) - quarantined.height - told_rows
    if good:
        first = next(iter(good))
        good[first] = replace(good[first], dropped=good[first].dropped + unseen)
    return replace(told, good=good, quarantined=quarantined, skipped=told.skipped + len(discarded))


def _stored(store: Store, entry: LedgerEntry) -> list[pl.DataFrame]:
    return [stored_part(store, part) for part in entry.parts]


def _without(kept: Distinct, touched: list[int]) -> Distinct:
    rows = kept.rows.filter(~pl.col(SOURCE_ROW).is_in(touched))
    corrections = kept.corrections.filter(~kept.corrections.is_in(touched))
    return Distinct(rows, kept.dropped, corrections)


def _with(kept: Distinct | None, mended: pl.DataFrame, table: Table) -> Distinct:
    """Return a site's rows with its mended ones, which may repeat others of the file."""
    if kept is None:
        return distinct(mended, table)
    together = distinct(pl.concat([kept.rows, mended]).sort(SOURCE_ROW), table)
    return replace(together, dropped=kept.dropped + together.dropped)
