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
    by_part: bool = False


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
        by_part=True,
    ),
    "overrun_of_due": _Cases(
        "part_spans", "decided_at",
        lambda _: pl.col("due") & pl.col("decided_at").is_not_null(),
        lambda _: pl.col("outcome") == "overrun",
        by_part=True,
    ),
    "turnaround": _Cases(
        "turnarounds", "ended_at",
        lambda rules: outcome_is_known(rules) | (pl.col("status") == "not_assessable"),
        lambda rules: _assessed("status", ~kept_target(rules)),
    ),
}  # fmt: skip


class SiteCases:
    """The single cases of a site. A table is read, put in order and split up once, for a site has many series."""

    def __init__(self, published: Published, site_id: str) -> None:
        self._published, self._site_id = published, site_id
        self._split: dict[str, dict[tuple[str, str], pl.DataFrame]] = {}

    def gaps(self, series: Series) -> list[Gap] | None:
        """Return the gaps between the cases of a series that went amiss; None where single ones are not published."""
        if series.base not in _CASES:
            return None
        if series.base not in self._split:
            self._split[series.base] = self._by_part_and_ward(_CASES[series.base])
        cases = self._split[series.base].get((series.measure.partition(":")[2], series.ward))
        return [] if cases is None else gaps(cases)

    def _by_part_and_ward(self, cases: _Cases) -> dict[tuple[str, str], pl.DataFrame]:
        """Return the cases in order of time; those of each ward, and the site's, which hold those of no ward too."""
        rules = self._published.sites[self._site_id]
        rows = self._published.read(cases.table).filter(site_id=self._site_id).filter(cases.counted(rules))
        part = pl.col("part") if cases.by_part else pl.lit("")
        told = rows.select("unit_id", "ward", part=part, at=pl.col(cases.time), amiss=cases.amiss(rules))
        told = told.sort("at", "unit_id", "amiss")
        of_site, of_wards = told.with_columns(ward=pl.lit(SITE)), told.filter(pl.col("ward").is_not_null())
        return {
            (str(name), str(ward)): of_series
            for rows in (of_site, of_wards)
            for (name, ward), of_series in rows.partition_by("part", "ward", as_dict=True).items()
        }


def gaps(cases: pl.DataFrame) -> list[Gap]:
    """Return the gaps between cases that went amiss; ``cases`` has at and amiss (null: unknown) in order of time.

    Nothing is known of the time before the first one, nor of a gap with a case that could not be assessed.
    """
    told = cases.select("at", "amiss", well=(~pl.col("amiss")).cast(pl.Int64).cum_sum())
    found: list[Gap] = []
    before: datetime | None = None
    well_before, known = 0, True
    for at, amiss, well in told.filter(pl.col("amiss").fill_null(True)).rows():
        if amiss is None:
            known = False
            continue
        if before is not None and known:
            found.append(Gap(at, well - well_before, (at - before).total_seconds() / _DAY_S))
        before, well_before, known = at, well, True
    return found
