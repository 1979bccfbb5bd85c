"""Sources that have gone quiet: which table, unit or ward sent nothing, since when, against its usual rhythm.

A quiet source is a finding of its own: what rests on it is not as good as it looks.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import duckdb
import polars as pl

from pipeline.errors import NothingToDo
from pipeline.measures.published import Published

#: The model that says after how long each source counts as quiet.
RHYTHMS = "source_rhythms"


@dataclass(frozen=True)
class QuietSource:
    """A table of a site, or a unit or ward in it, silent for longer than its rhythm lets expect.

    ``silent_h`` counts from the last row, or from a unit's return to the pool after it.
    """

    site_id: str
    table: str
    unit_id: str | None
    ward: str | None
    last_at: datetime
    silent_h: float
    usual_gap_h: float
    quiet_after_h: float

    @property
    def words(self) -> str:
        """The source and its silence as one sentence."""
        who = f" from unit {self.unit_id}" if self.unit_id else f" from ward {self.ward}" if self.ward else ""
        return (
            f"{self.site_id}: no rows of {self.table}{who} since {self.last_at:%Y-%m-%d %H:%M} UTC,"
            f" {self.silent_h:.0f} h; usually every {self.usual_gap_h:.0f} h."
        )


def quiet_sources(results: Published | duckdb.DuckDBPyConnection, as_of: datetime) -> tuple[QuietSource, ...]:
    """Return the sources that are quiet at an instant (naive UTC), in order of site, table, unit and ward.

    Units and wards of a table that is quiet as a whole are left out: the table says it for them.
    """
    silent = (pl.lit(as_of) - pl.col("silent_from")).dt.total_seconds() / 3600
    quiet = (
        _rhythms(results)
        .with_columns(silent.alias("silent_h"))
        .filter(pl.col("silent_h") > pl.col("quiet_after_h"))
        .sort("site_id", "table_name", "unit_id", "ward", nulls_last=False)
    )
    found = [
        QuietSource(
            site_id=row["site_id"],
            table=row["table_name"],
            unit_id=row["unit_id"],
            ward=row["ward"],
            last_at=row["last_at"],
            silent_h=row["silent_h"],
            usual_gap_h=row["usual_gap_h"],
            quiet_after_h=row["quiet_after_h"],
        )
        for row in quiet.iter_rows(named=True)
    ]
    whole = {(source.site_id, source.table) for source in found if not (source.unit_id or source.ward)}
    return tuple(
        source
        for source in found
        if (source.site_id, source.table) not in whole or not (source.unit_id or source.ward)
    )


def _rhythms(results: Published | duckdb.DuckDBPyConnection) -> pl.DataFrame:
    if isinstance(results, Published):
        if RHYTHMS not in results.tables:
            raise NothingToDo("The store was measured by an earlier version; run 'dewledger measure' again.")
        return results.read(RHYTHMS)
    return pl.DataFrame(results.sql(f"select * from facts.{RHYTHMS}").to_arrow_table())
