"""A month's rows of the published tables, and what tells one of them from another."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import polars as pl

from pipeline.exporting import exported_tables
from pipeline.measures.calendar import instant
from pipeline.measures.published import Published
from pipeline.site_rules import SiteRules

#: Columns that place a row in a month. An instant that lies in the month places it there, whichever it is.
_MONTH, _DAY = "month", "local_date"
_INSTANTS = (
    "to_started_at", "to_at", "hung_at", "fitted_at", "powered_at", "warned_at", "started_at", "ended_at",
    "decided_at",
)  # fmt: skip

#: Columns that tell the rows of a table apart, besides the first of the instants above.
_NAMES = (
    "site_id", _MONTH, _DAY, "measure", "period", "unit_id", "part", "step", "basis", "lot", "table_name",
    "warning", "position", "patient_key", "from_patient_key", "to_patient_key",
)  # fmt: skip

#: Numbers that only count rows: a late one would shift all that follow.
NUMBERING = ("stay_no", "chain_no")


def month_rows(published: Published, month: str) -> dict[str, pl.DataFrame]:
    """Return the rows of a month by table, for every exported table that is placed in time."""
    found = {}
    for table in exported_tables():
        rows = published.read(table)
        kept = [
            rows.filter(pl.col("site_id") == site).filter(placed)
            for site, rules in published.sites.items()
            if (placed := _in_month(rows.columns, rules, month)) is not None
        ]
        if kept:
            found[table] = pl.concat(kept)
    return found


def month_ends(rules: SiteRules, month: str) -> tuple[datetime, datetime]:
    """Return a local month's first instant and that of the next, naive UTC."""
    first = date.fromisoformat(f"{month}-01")
    after = (first + timedelta(days=31)).replace(day=1)
    return instant(rules.zone, first), instant(rules.zone, after)


def is_over(rules: SiteRules, month: str, now: datetime) -> bool:
    """Say whether a local month has ended at an instant."""
    at = now.astimezone(UTC).replace(tzinfo=None) if now.tzinfo else now
    return month_ends(rules, month)[1] <= at


def key_of(columns: list[str]) -> list[str]:
    """Return the columns that tell a table's rows apart.

    >>> key_of(["site_id", "ward", "month", "part", "fitted"])
    ['site_id', 'ward', 'month', 'part']
    """
    names = [name for name in columns if name in _NAMES or (name == "ward" and _MONTH in columns)]
    return names + [name for name in _INSTANTS if name in columns][:1]


def _in_month(columns: list[str], rules: SiteRules, month: str) -> pl.Expr | None:
    if _MONTH in columns:
        return pl.col(_MONTH) == month
    if _DAY in columns:
        return pl.col(_DAY).dt.strftime("%Y-%m") == month
    first, after = month_ends(rules, month)
    instants = [name for name in _INSTANTS if name in columns]
    if not instants:
        return None
    return pl.any_horizontal((pl.col(name) >= first) & (pl.col(name) < after) for name in instants)
