"""How far a rate could move if all that cannot be assessed were bad, or all of it good."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.signals.months import months_up_to, with_month
from pipeline.signals.series import SITE, kept_target, outcome_is_known

if TYPE_CHECKING:
    from pipeline.measures.published import Published
    from pipeline.site_rules import SiteRules

POOLED_MONTHS = 12


@dataclass(frozen=True)
class Bounds:
    """A measure's good share of what is assessed, and its bounds once the rest is added to either side.

    ``amount`` is in ``unit``: cases, or hours for part cover. ``rate`` is None where nothing is assessed.
    """

    measure: str
    ward: str
    unit: str
    good: float
    assessed: float
    not_assessable: float
    rate: float | None
    if_all_bad: float | None
    if_all_good: float | None
    sentence: str


@dataclass(frozen=True)
class _Counted:
    """Where a measure's good, assessed and not assessable amounts stand in a monthly table."""

    measure: str
    table: str
    good: pl.Expr
    assessed: pl.Expr
    by: str = ""
    unit: str = "cases"


_COUNTED = (
    _Counted("part_cover", "part_cover_monthly", pl.col("in_limit_h"),
             pl.col("episode_h") - pl.col("not_assessable_h"), "part", "hours"),
    _Counted("fresh_parts", "fresh_part_monthly", pl.col("fresh"), pl.col("starts"), "part"),
    _Counted("unprotected_changeovers", "changeover_monthly",
             pl.col("changeovers") - pl.col("unprotected"), pl.col("changeovers")),
    _Counted("count_agreement", "count_check_monthly", pl.col("agrees"), pl.col("pairs") - pl.col("not_assessable")),
)  # fmt: skip


def bounds(published: Published, site_id: str, until: str, months: int = POOLED_MONTHS) -> tuple[Bounds, ...]:
    """Return the bounds of each measure of the site and its wards, over the months up to ``until``.

    Overruns count among all spans that were due or cannot be assessed, whenever those were fitted in the months.
    """
    rules = published.sites[site_id]
    kept = months_up_to(rules, until, months)
    rows = [_monthly(published, site_id, kept, counted) for counted in _COUNTED]
    rows += [_turnarounds(published, site_id, kept, rules), _overruns(published, site_id, kept, rules)]
    summed = pl.concat(rows).filter(pl.col("ward").is_not_null()).group_by("measure", "ward", "unit").agg(
        pl.col("good", "assessed", "not_assessable").sum()
    )  # fmt: skip
    return tuple(_bounds(**row) for row in summed.sort("measure", "ward").rows(named=True))


def _monthly(published: Published, site_id: str, months: tuple[str, ...], counted: _Counted) -> pl.DataFrame:
    rows = published.read(counted.table).filter(pl.col("month").is_in(months), site_id=site_id)
    not_assessable = "not_assessable_h" if counted.unit == "hours" else "not_assessable"
    return rows.select(
        measure=pl.lit(counted.measure) + (":" + pl.col(counted.by) if counted.by else pl.lit("")), ward="ward",
        unit=pl.lit(counted.unit), good=counted.good.cast(pl.Float64), assessed=counted.assessed.cast(pl.Float64),
        not_assessable=pl.col(not_assessable).cast(pl.Float64),
    )  # fmt: skip


def _turnarounds(
    published: Published, site_id: str, months: tuple[str, ...], rules: SiteRules
) -> pl.DataFrame:
    rows = with_month(published.read("turnarounds").filter(site_id=site_id), "ended_at", rules)
    known = outcome_is_known(rules)
    return _cases(
        rows.filter(pl.col("month").is_in(months)), pl.lit("turnaround"), known & kept_target(rules), known,
        pl.col("status") == "not_assessable",
    )  # fmt: skip


def _overruns(published: Published, site_id: str, months: tuple[str, ...], rules: SiteRules) -> pl.DataFrame:
    spans = published.read("part_spans").filter(site_id=site_id)
    rows = with_month(spans.with_columns(at=pl.coalesce("decided_at", "fitted_at")), "at", rules)
    due = pl.col("due").fill_null(False) & pl.col("decided_at").is_not_null()
    return _cases(
        rows.filter(pl.col("month").is_in(months)), "overrun_of_due:" + pl.col("part"),
        due & (pl.col("outcome") != "overrun"), due, pl.col("outcome") == "not_assessable",
    )  # fmt: skip


def _cases(
    rows: pl.DataFrame, measure: pl.Expr, good: pl.Expr, assessed: pl.Expr, unknown: pl.Expr
) -> pl.DataFrame:
    """Count single cases, once in their ward and once in the site."""
    counted = {"good": good, "assessed": assessed, "not_assessable": unknown}
    single = rows.select(
        measure=measure, ward="ward", unit=pl.lit("cases"),
        **{name: expression.cast(pl.Float64) for name, expression in counted.items()},
    )  # fmt: skip
    return pl.concat([single, single.with_columns(ward=pl.lit(SITE))])


def _bounds(
    measure: str, ward: str, unit: str, good: float, assessed: float, not_assessable: float
) -> Bounds:
    whole = assessed + not_assessable
    rate = good / assessed if assessed else None
    low, high = (good / whole, (good + not_assessable) / whole) if whole else (None, None)
    return Bounds(
        measure, ward, unit, good, assessed, not_assessable, rate, low, high,
        _sentence(unit, assessed, not_assessable, rate, low, high),
    )  # fmt: skip


def _sentence(
    unit: str,
    assessed: float,
    not_assessable: float,
    rate: float | None,
    low: float | None,
    high: float | None,
) -> str:
    if not not_assessable:
        return f"All of {assessed:,.0f} {unit} can be assessed."
    told = f"{not_assessable:,.0f} of {assessed + not_assessable:,.0f} {unit} cannot be assessed: "
    good = "nothing can be said of the rest" if rate is None else f"of the rest {rate:.1%} are good"
    return f"{told}{good}; of all, {low:.1%} if none of those were, {high:.1%} if all were."
