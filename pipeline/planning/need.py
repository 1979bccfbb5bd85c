"""What a stay needs of each part by the rules, beside what it took in practice (contract section 4.12)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.planning.records import POOL_MONTHS, SiteRecords
from pipeline.site_rules import SiteRules

Pieces = NDArray[np.int64]
_BAG = "water_bag"
_DAY_S = 86_400


@dataclass(frozen=True)
class StayPool:
    """Ended stays that stand for those to come: one position per stay in every array.

    ``needed`` and ``fitted`` map a part to pieces, by the rules and in practice; ``hours`` are of therapy.
    """

    ward: NDArray[np.str_]
    hours: NDArray[np.float64]
    needed: Mapping[str, Pieces]
    fitted: Mapping[str, Pieces]

    def __len__(self) -> int:
        """Return the number of stays."""
        return len(self.hours)

    def supplied(self, part: str) -> Pieces:
        """Return the pieces to have in store: by the rules, and more where practice took more."""
        if part not in self.needed:
            return self.fitted[part]
        pieces: Pieces = np.maximum(self.needed[part], self.fitted[part])
        return pieces

    def without(self, wards: set[str]) -> StayPool:
        """Return the pool without the stays of these wards."""
        kept = ~np.isin(self.ward, sorted(wards))
        return StayPool(
            self.ward[kept],
            self.hours[kept],
            {part: pieces[kept] for part, pieces in self.needed.items()},
            {part: pieces[kept] for part, pieces in self.fitted.items()},
        )


def stay_pool(records: SiteRecords, rules: SiteRules) -> StayPool:
    """Return the recent ended stays with their need under these rules (those of the site, or others tried)."""
    recent = records.months[-POOL_MONTHS:]
    stays = (
        records.tables["stay_parts"]
        .filter(pl.col("month").is_in(recent), ~pl.col("overlapping"), pl.col("ended_at").is_not_null())
        .sort("started_at", "unit_id", "stay_no", "part")
    )
    rate = water_rate(stays)
    by_part = {str(part): rows for (part,), rows in stays.group_by("part", maintain_order=True)}
    any_part = next(iter(by_part.values()), stays)
    return StayPool(
        ward=any_part["ward"].fill_null("").to_numpy().astype(str),
        hours=any_part["stay_s"].to_numpy() / 3600.0,
        needed={
            part: needed_pieces(rows, part, rules, rate)
            for part, rows in by_part.items()
            if rules.parts[part].max_days is not None
        },
        fitted={part: rows["fitted"].to_numpy().astype(np.int64) for part, rows in by_part.items()},
    )


def need_by_month(records: SiteRecords, rules: SiteRules) -> dict[str, Pieces]:
    """Return for each part with a limit the pieces that the stays started in each complete month needed."""
    stays = records.tables["stay_parts"].filter(pl.col("month").is_in(records.months))
    rate = water_rate(stays)
    found = {}
    for (part,), rows in stays.group_by("part"):
        if rules.parts[str(part)].max_days is not None:
            place = [records.months.index(month) for month in rows["month"]]
            needed = needed_pieces(rows, str(part), rules, rate)
            found[str(part)] = np.bincount(place, needed, len(records.months)).astype(np.int64)
    return dict(sorted(found.items()))


def water_rate(stays: pl.DataFrame) -> float | None:
    """Return the modelled millilitres per second of logged therapy; None where no unit logs."""
    once = stays.unique(["unit_id", "stay_no"], maintain_order=True)
    logged = int(once["logged_s"].sum())
    return float(once["water_ml"].sum()) / logged if logged else None


def needed_pieces(stays: pl.DataFrame, part: str, rules: SiteRules, rate: float | None) -> Pieces:
    """Return the pieces of one part that the rules require of each stay.

    The larger of 1 and one for each started max_days of therapy; bags also by modelled water, to which
    therapy that no unit logged is added at the site's mean rate (millilitres per second).
    """
    limit_s = round((rules.parts[part].max_days or 0) * _DAY_S)
    needed: Pieces = np.maximum(1, -(-stays["stay_s"].to_numpy() // limit_s)).astype(np.int64)
    if part == _BAG:
        water = stays["water_ml"].fill_null(0).to_numpy() + stays["unlogged_s"].to_numpy() * (rate or 0)
        needed = np.maximum(needed, np.ceil(water / rules.bag_volume_ml).astype(np.int64))
    return needed
