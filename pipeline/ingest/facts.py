"""What a file is like as a whole: one small number for each thing that is expected of it.

The expectations judge these numbers and never see a row: a few numbers for each file, however large it is.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

import polars as pl

from pipeline.ingest.headers import only_names
from pipeline.ingest.row_rules import MEANINGS, ROW_RULES
from pipeline.records import DATE, Table
from pipeline.store.ledger import LedgerEntry

#: Share of a file's rows, in percent, that one reason may keep out, or that may carry one warning.
KEPT_OUT_PCT, WARNED_PCT = 1.0, 10.0
_HOUR_S = 3600.0


@dataclass(frozen=True)
class File:
    """What is measured: a file's table, ledger entry and accepted rows, and the time of the ingest (UTC)."""

    table: Table
    entry: LedgerEntry
    rows: pl.DataFrame
    now: datetime.datetime


@dataclass(frozen=True)
class Fact:
    """One thing that is expected of files: its name, the words for it, the limits, and how it is measured.

    ``measured`` returns None where a file cannot tell, which is neither a success nor a failure. With
    ``best_file`` the best of the files decides and not the worst.
    """

    name: str
    meaning: str
    measured: Callable[[File], float | None]
    most: float | None = None
    least: float | None = None
    best_file: bool = False


@dataclass(frozen=True)
class FileFacts:
    """The numbers of one file, by the name of the fact."""

    sha256: str
    table: str
    numbers: dict[str, float | None]


def measure(table: Table, entry: LedgerEntry, rows: pl.DataFrame, now: datetime.datetime) -> FileFacts:
    """Measure a file by its ledger entry and accepted rows; ``now`` is the time of the ingest, in UTC."""
    file = File(table, entry, rows, now)
    return FileFacts(entry.sha256, table.name, {fact.name: fact.measured(file) for fact in FACTS})


def _unaccounted(file: File) -> float:
    entry = file.entry
    return entry.rows_read - entry.accepted - entry.duplicates - entry.skipped - entry.quarantined


def _share(name: str, applies: Callable[[Table], bool]) -> Callable[[File], float | None]:
    """Return a measure of the rows that carry a reason or warning, in percent of the rows read."""

    def measured(file: File) -> float | None:
        if not file.entry.rows_read or not applies(file.table):
            return None
        return 100 * (file.entry.reasons | file.entry.warnings).get(name, 0) / file.entry.rows_read

    return measured


def _corrected_pct(file: File) -> float | None:
    return 100 * file.entry.corrected / file.entry.accepted if file.entry.accepted else None


def _age_days(file: File) -> float | None:
    latest = file.rows[file.table.time].max() if file.table.time and file.rows.height else None
    if isinstance(latest, datetime.datetime):
        return (file.now - latest).total_seconds() / (24 * _HOUR_S)
    return float((file.now.date() - latest).days) if isinstance(latest, datetime.date) else None


def _most_rows_per_unit_day(file: File) -> float | None:
    """Count the rows of the fullest UTC day of a unit."""
    time = file.table.time
    if not time or "unit_id" not in file.table.names or file.table.column(time).kind == DATE:
        return None
    per_day = file.rows.group_by("unit_id", pl.col(time).dt.date().alias("day")).len()
    return _number(per_day["len"].max())


def _therapy_share(file: File) -> float | None:
    """Return the largest ratio of a unit's summed sessions to the time that they span."""
    if file.table.name != "usage_sessions":
        return None
    start, end = pl.col("started_at"), pl.col("ended_at")
    ratio = (end - start).sum().dt.total_seconds() / (end.max() - start.min()).dt.total_seconds()
    shares = file.rows.filter(end > start).group_by("unit_id").agg(ratio.alias("share"))
    return _number(shares["share"].max())


def _dew_point_distance(file: File) -> float | None:
    """Return how far the median dew point in use lies from 37 °C, where the trade aims."""
    if file.table.name != "usage_samples":
        return None
    median = _number(file.rows.filter(pl.col("phase") == "in_use")["dew_point_c"].median())
    return None if median is None else abs(median - 37)


def _count_falls(file: File) -> float | None:
    """Count how often a unit's own count of its cycles falls from one row to the next in time."""
    if "cycle_count" not in file.table.names or not file.table.time:
        return None
    counted = file.rows.drop_nulls("cycle_count").sort("unit_id", file.table.time, "source_row")
    return _number(counted.select((pl.col("cycle_count").diff().over("unit_id") < 0).sum()).item())


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def _always(_: Table) -> bool:
    return True


def _has_units(table: Table) -> bool:
    return "unit_id" in table.names and table.name != "units"


#: Everything that is expected of a file.
FACTS: tuple[Fact, ...] = (
    Fact(
        "unaccounted_rows",
        "every row read is accepted, a duplicate, skipped or quarantined",
        _unaccounted,
        0,
        0,
    ),
    *(
        Fact(
            f"{rule.name}_pct",
            f"few rows are {'kept out' if rule.quarantines else 'marked'} because {rule.meaning}",
            _share(rule.name, lambda table, rule=rule: bool(rule.broken(table))),  # type: ignore[misc]
            KEPT_OUT_PCT if rule.quarantines else WARNED_PCT,
        )
        for rule in ROW_RULES
    ),
    *(
        Fact(
            f"{name}_pct",
            f"few rows are kept out because {MEANINGS[name]}",
            _share(name, applies),
            KEPT_OUT_PCT,
        )
        for name, applies in (("wrong_field_count", _always), ("repeated_header", only_names))
    ),
    Fact(
        "out_of_order_pct",
        f"few rows are marked because {MEANINGS['out_of_order']}",
        _share("out_of_order", lambda table: table.name == "usage_samples"),
        WARNED_PCT,
    ),
    Fact(
        "unknown_unit_pct",
        f"few rows are marked because {MEANINGS['unknown_unit']}",
        _share("unknown_unit", _has_units),
        WARNED_PCT,
    ),
    Fact("corrected_pct", "few rows have the key of another row and other values", _corrected_pct, 5),
    Fact(
        "rows_per_unit_day",
        "no unit has more rows in a day than one every 5 seconds",
        _most_rows_per_unit_day,
        17_280,
    ),
    Fact(
        "therapy_share",
        "a unit's sessions last no longer together than the time they span",
        _therapy_share,
        1,
    ),
    Fact(
        "dew_point_distance_c",
        "the median dew point in use lies within 3 °C of 37 °C",
        _dew_point_distance,
        3,
    ),
    Fact("count_falls", "a unit's own count of its cycles never falls", _count_falls, 0),
    Fact(
        "age_days", "the newest file reaches to within 45 days of the ingest", _age_days, 45, best_file=True
    ),
)
