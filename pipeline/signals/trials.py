"""The single cases behind a series of shares, in order of time: for each whether it went amiss."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import polars as pl

from pipeline.signals.series import SITE, Series, kept_target, outcome_is_known
from pipeline.site_rules import SiteRules

if TYPE_CHECKING:
    from pipeline.measures.published import Published

#: Proofs that leave a changeover unprotected (contract section 4.5).
UNPROTECTED = ("expired", "storage_unproven", "invalid_cycle", "uncharted_use", "no_record")

_DAY_S = 86_400


@dataclass(frozen=True)
class Gap:
    """What lay between a case that went amiss, at ``at``, and the one before: cases that went well, and days."""

    at: datetime
    between: int
    days: float


@dataclass(frozen=True)
class _Cases:
    """Where the cases of a measure stand. ``amiss`` is null for one that cannot be assessed."""

    table: str
    time: str
    counted: Callable[[SiteRules], pl.Expr]
    amiss: Callable[[SiteRules], pl.Expr]


def _assessed(column: str, amiss: pl.Expr) -> pl.Expr:
    return pl.when(pl.col(column) != "not_assessable").then(amiss)


_CASES = {
    "unprotected_changeovers": _Cases(
        "changeovers", "to_started_at",
        lambda _: ~pl.col("proof").is_in(["undecided", "overlap"]),
        lambda _: _assessed("proof", pl.col("proof").is_in(UNPROTECTED)),
    ),
    "fresh_parts": _Cases(
        "fresh_part_checks", "started_at",
        lambda _: ~pl.col("verdict").is_in(["undecided", "same_patient"]),
        lambda _: _assessed("verdict", pl.col("verdict") != "fresh"),
    ),
    "overrun_of_due": _Cases(
        "part_spans", "decided_at",
        lambda _: pl.col("due") & pl.col("decided_at").is_not_null(),
        lambda _: pl.col("outcome") == "overrun",
    ),
    "turnaround": _Cases(
        "turnarounds", "ended_at",
        lambda rules: outcome_is_known(rules) | (pl.col("status") == "not_assessable"),
        lambda rules: _assessed("status", ~kept_target(rules)),
    ),
}  # fmt: skip


def gaps_of(published: Published, series: Series, read: Callable[[str], pl.DataFrame]) -> list[Gap] | None:
    """Return the gaps between the cases of a series that went amiss; None where single cases are not published.

    ``read`` returns a published table, and may remember it: a site has many series.
    """
    cases = _CASES.get(series.base)
    if cases is None:
        return None
    rules = published.sites[series.site_id]
    part = series.measure.partition(":")[2]
    only = ({} if series.ward == SITE else {"ward": series.ward}) | ({"part": part} if part else {})
    rows = read(cases.table).filter(site_id=series.site_id, **only).filter(cases.counted(rules))
    return gaps(rows.select("unit_id", at=pl.col(cases.time), amiss=cases.amiss(rules)))


def gaps(cases: pl.DataFrame) -> list[Gap]:
    """Return the gaps between cases that went amiss; ``cases`` has unit_id, at and amiss (null: unknown).

    Nothing is known of the time before the first one, nor of a gap with a case that could not be assessed.
    """
    found: list[Gap] = []
    before: datetime | None = None
    between, known = 0, True
    for at, amiss in cases.sort("at", "unit_id", "amiss").select("at", "amiss").rows():
        if amiss:
            if before is not None and known:
                found.append(Gap(at, between, (at - before).total_seconds() / _DAY_S))
            before, between, known = at, 0, True
        elif amiss is None:
            known = False
        else:
            between += 1
    return found
