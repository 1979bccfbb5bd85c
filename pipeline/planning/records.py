"""What a plan is made from: one site's measured stays, fittings and stock, with the rules they are judged by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import polars as pl

from pipeline.measures.calendar import local_months
from pipeline.site_rules import SiteRules

#: The measured tables that planning reads.
TABLES = (
    "stay_parts", "fitting_reasons", "purchase_items", "stock_ledger", "covered_months", "patient_stays",
    "turnarounds", "part_use_monthly", "water_monthly", "fleet_monthly",
)  # fmt: skip

#: A month of which less than this is missing counts as complete.
_NEARLY = timedelta(days=1)

#: Records that begin later in their first month than this leave it incomplete.
_FIRST_DAYS = timedelta(days=7)

#: Stays of these last months stand for those to come.
POOL_MONTHS = 24

#: The recent past that shares, waste and rates are taken from.
RECENT_MONTHS = 12


@dataclass(frozen=True)
class SiteRecords:
    """One site's measured tables (without the others' rows) and its complete months, in order."""

    site_id: str
    rules: SiteRules
    as_of: datetime
    tables: Mapping[str, pl.DataFrame]
    months: tuple[str, ...]

    @property
    def recent(self) -> tuple[str, ...]:
        """The last complete months, at most a year."""
        return self.months[-RECENT_MONTHS:]

    @property
    def as_of_day(self) -> date:
        """The local day of as_of."""
        return local(self.as_of, self.rules).date()


def site_records(
    site_id: str, rules: SiteRules, as_of: datetime, tables: Mapping[str, pl.DataFrame]
) -> SiteRecords:
    """Cut one site out of the measured tables; local months are added to its stays."""
    own = {name: rows.filter(pl.col("site_id") == site_id) for name, rows in tables.items()}
    own["stay_parts"] = own["stay_parts"].with_columns(month=_local("started_at", rules).dt.strftime("%Y-%m"))
    return SiteRecords(site_id, rules, as_of, own, _complete_months(own, rules, as_of))


def local(instant: datetime, rules: SiteRules) -> datetime:
    """Return a naive UTC instant in the site's own time."""
    found: datetime = pl.select(_local(pl.lit(instant), rules)).item()
    return found


def month_after(month: str, number: int) -> str:
    """Return the month that lies so many after another.

    >>> month_after("2026-11", 3)
    '2027-02'
    """
    ordinal = int(month[:4]) * 12 + int(month[5:]) - 1 + number
    return f"{ordinal // 12:04d}-{ordinal % 12 + 1:02d}"


def _local(column: pl.Expr | str, rules: SiteRules) -> pl.Expr:
    instants = pl.col(column) if isinstance(column, str) else column
    return (
        instants.dt.replace_time_zone("UTC").dt.convert_time_zone(rules.time_zone).dt.replace_time_zone(None)
    )


def _complete_months(
    tables: Mapping[str, pl.DataFrame], rules: SiteRules, as_of: datetime
) -> tuple[str, ...]:
    """Return the unbroken run of months, the last complete one included, whose episodes are on record."""
    stays = tables["patient_stays"]
    if not stays.height:
        return ()
    covered = set(tables["covered_months"].filter(pl.col("table_name") == "episodes")["month"])
    first: datetime = stays["started_at"].min()  # type: ignore[assignment]
    run: list[str] = []
    for _, month, starts_at, ends_at in local_months(
        rules.zone, first.date() - timedelta(days=1), as_of.date()
    ):
        if month in covered and starts_at + _FIRST_DAYS >= first and ends_at <= as_of + _NEARLY:
            run.append(month)
        elif starts_at + _FIRST_DAYS >= first and ends_at <= as_of + _NEARLY:
            run = []
    return tuple(run)
