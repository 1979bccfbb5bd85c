"""Every candidate's back-test, for stays and for the need of each part that follows from them."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import polars as pl

from pipeline.planning.forecast import Fold, Forecast, score
from pipeline.planning.methods import Counts
from pipeline.planning.need import need_by_month
from pipeline.planning.records import SiteRecords

#: Stands for the stays themselves, as '*' stands for all wards.
STAYS = "*"


def back_test_table(records: SiteRecords, found: Forecast, stays: Counts) -> pl.DataFrame:
    """Return method, folds, mase, pinball_loss and coverage_80 by part.

    From each origin a part's need is the stays forecast times the mean need of the stays known by then.
    """
    rows = [_rows(records.site_id, STAYS, found, stays, found.folds)]
    for part, needed in need_by_month(records, records.rules).items():
        folds = tuple(_as_need(fold, stays, needed.astype(float)) for fold in found.folds)
        rows.append(_rows(records.site_id, part, found, needed.astype(float), folds))
    return pl.concat(rows)


def _as_need(fold: Fold, stays: Counts, needed: Counts) -> Fold:
    each = needed[: fold.origin].sum() / max(stays[: fold.origin].sum(), 1)
    return Fold(fold.origin, {name: forecast * each for name, forecast in fold.forecasts.items()})


def _rows(
    site_id: str, part: str, found: Forecast, actual: np.ndarray, folds: tuple[Fold, ...]
) -> pl.DataFrame:
    scored = [score(actual, folds, row.method) for row in found.scores]
    return pl.DataFrame(
        [
            {"site_id": site_id, "part": part, **asdict(row), "chosen": row.method == found.method.name}
            for row in scored
        ],
        schema_overrides=dict.fromkeys(("mase", "pinball_loss", "coverage_80"), pl.Float64),
    )
