"""Local months as text, such as ``2026-10``, for the instants of facts and the days of events."""

from __future__ import annotations

from datetime import UTC, date, datetime

import polars as pl

from pipeline.measures.calendar import local_months
from pipeline.site_rules import SiteRules


def month_names(rules: SiteRules, first: str, last: str) -> tuple[str, ...]:
    """Return the months from first to last, both included."""
    ends = (date.fromisoformat(f"{month}-01") for month in (first, last))
    return tuple(month for _, month, _, _ in local_months(rules.zone, *ends))


def month_of(rules: SiteRules, at: datetime) -> str:
    """Return the local month of a naive UTC instant."""
    local = at.replace(tzinfo=UTC).astimezone(rules.zone)
    return f"{local:%Y-%m}"


def with_month(rows: pl.DataFrame, time: str, rules: SiteRules) -> pl.DataFrame:
    """Add the ``local_date`` and ``month`` of a column of naive UTC instants."""
    local = local_time(time, rules)
    return rows.with_columns(local_date=local.dt.date(), month=local.dt.strftime("%Y-%m"))


def local_time(time: str, rules: SiteRules) -> pl.Expr:
    """Return a column of naive UTC instants as local time of the site."""
    return pl.col(time).dt.replace_time_zone("UTC").dt.convert_time_zone(rules.time_zone)


def months_up_to(rules: SiteRules, until: str, count: int) -> tuple[str, ...]:
    """Return the last ``count`` months up to one, which is included."""
    year = int(until[:4]) - (count + 11) // 12
    return month_names(rules, f"{year:04d}-{until[5:]}", until)[-count:]
