"""The series that are charted and compared: of each measure and ward, a count out of a total in each month."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.signals.months import month_names, month_of, with_month
from pipeline.site_rules import SiteRules

if TYPE_CHECKING:
    from pipeline.measures.published import Published

#: The ward of a series that stands for the whole site.
SITE = "*"

#: Kinds of series: cases out of cases; hours out of hours, which go together by episode; amounts per time.
SHARES, HOURS, AMOUNTS = "shares", "hours", "amounts"


@dataclass(frozen=True)
class Series:
    """Months of one measure in one ward; a month that cannot be assessed has the total 0.

    ``measure`` is one of `CHARTED_MEASURES`, followed by a colon and the part or step where it has one.
    """

    site_id: str
    ward: str
    measure: str
    kind: str
    better: str
    months: tuple[str, ...]
    counts: tuple[float, ...]
    totals: tuple[float, ...]

    @property
    def base(self) -> str:
        """The measure without its part or step."""
        return self.measure.partition(":")[0]


@dataclass(frozen=True)
class _Monthly:
    """Where a measure stands in the monthly tables: ``count`` of ``total``, apart for each value of ``by``."""

    measure: str
    table: str
    count: str
    total: pl.Expr
    kind: str = SHARES
    better: str = "higher"
    by: str = ""


_MONTHLY = (
    _Monthly("part_cover", "part_cover_monthly", "in_limit_h",
             pl.col("episode_h") - pl.col("not_assessable_h"), HOURS, by="part"),
    _Monthly("overrun_of_due", "part_overrun_monthly", "overrun", pl.col("due"), better="lower", by="part"),
    _Monthly("fresh_parts", "fresh_part_monthly", "fresh", pl.col("starts"), by="part"),
    _Monthly("unprotected_changeovers", "changeover_monthly", "unprotected", pl.col("changeovers"),
             better="lower"),
    _Monthly("water_per_therapy_day", "water_monthly", "water_hung_ml", pl.col("therapy_days"), AMOUNTS,
             "neither"),
    _Monthly("setup_steps", "setup_monthly", "done", pl.col("starts_checked"), by="step"),
    _Monthly("count_agreement", "count_check_monthly", "agrees", pl.col("pairs") - pl.col("not_assessable")),
)  # fmt: skip

_TURNAROUND = "turnaround"


def site_series(published: Published, site_id: str) -> tuple[Series, ...]:
    """Return every series of a site, by measure and ward; rows whose ward is not known count in the site's."""
    rules = published.sites[site_id]
    last = month_of(rules, published.as_of)
    found: list[Series] = []
    for wanted in _MONTHLY:
        for name, rows in _named(wanted, published.read(wanted.table).filter(site_id=site_id)):
            found += _by_ward(rows, site_id, name, wanted.kind, wanted.better, last, rules)
    ended = _turnarounds(published.read("turnarounds").filter(site_id=site_id), rules)
    found += _by_ward(ended, site_id, _TURNAROUND, SHARES, "higher", last, rules)
    return tuple(sorted(found, key=lambda series: (series.measure, series.ward)))


def _named(wanted: _Monthly, rows: pl.DataFrame) -> Iterator[tuple[str, pl.DataFrame]]:
    """Yield each full name of a measure and its rows as ward, month, count, total."""
    counted = rows.select(
        "ward", "month", *([wanted.by] if wanted.by else []),
        count=_whole_seconds(pl.col(wanted.count).fill_null(0)),
        total=pl.when(pl.col(wanted.count).is_null()).then(0.0).otherwise(_whole_seconds(wanted.total)),
    )  # fmt: skip
    if not wanted.by:
        yield wanted.measure, counted
        return
    for value in sorted(counted[wanted.by].unique()):
        yield f"{wanted.measure}:{value}", counted.filter(pl.col(wanted.by) == value)


def _whole_seconds(number: pl.Expr) -> pl.Expr:
    """Take out what sums of hours leave behind; counts and thousandths of a millilitre stay as they are."""
    return (number.cast(pl.Float64) * 3_600_000).round() / 3_600_000


def kept_target(rules: SiteRules) -> pl.Expr:
    """Say of a turnaround whether the unit was reprocessed within the site's target."""
    return (pl.col("status") == "reprocessed") & (pl.col("turnaround_h") <= rules.turnaround_target_h)


def outcome_is_known(rules: SiteRules) -> pl.Expr:
    """Say of a turnaround whether that can be told: it ended, or was seen for as long as the target."""
    ended = pl.col("status").is_in(["reprocessed", "bypassed"])
    return ended | (pl.col("turnaround_h") >= rules.turnaround_target_h).fill_null(False)


def _turnarounds(rows: pl.DataFrame, rules: SiteRules) -> pl.DataFrame:
    """Count the stays reprocessed within the target, of those of which that is known.

    A stay that is censored before the target is left out: whether it would have kept it cannot be told.
    """
    told = with_month(rows.filter(outcome_is_known(rules)), "ended_at", rules)
    counted = [
        pl.col("in_time").sum().cast(pl.Float64).alias("count"),
        pl.len().cast(pl.Float64).alias("total"),
    ]
    told = told.with_columns(in_time=kept_target(rules))
    wards = told.group_by("ward", "month").agg(counted)
    return pl.concat([wards, told.group_by(pl.lit(SITE).alias("ward"), "month").agg(counted)])


def _by_ward(
    rows: pl.DataFrame, site_id: str, measure: str, kind: str, better: str, last: str, rules: SiteRules
) -> Iterator[Series]:
    """Yield one series per known ward, over the months from the site's first to the last."""
    rows = rows.filter(pl.col("ward").is_not_null(), pl.col("month") <= last)
    if rows.is_empty():
        return
    months = month_names(rules, min(rows["month"]), last)
    known: dict[str, dict[str, tuple[float, float]]] = defaultdict(dict)
    for ward, month, count, total in rows.select("ward", "month", "count", "total").rows():
        known[ward][month] = count, total
    for ward in sorted(known):
        pairs = [known[ward].get(month, (0.0, 0.0)) for month in months]
        counts, totals = (tuple(column) for column in zip(*pairs, strict=True))
        yield Series(site_id, ward, measure, kind, better, months, counts, totals)
