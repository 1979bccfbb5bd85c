"""The forecasts on real admissions and bed-days: against the seasonal naive, and how often intervals hold.

Weekly hospital admissions with influenza and COVID-19 (CDC NHSN, USA) by state, as weekly means of each month,
2020-08 to 2025-06; occupied intensive-care beds a day (Robert Koch-Institut, Germany) by state, 2020-04 to
2025-06. A year is forecast from origins three months apart, once three years are known, each by what the program
would have chosen and believed then; its first half is judged on its own as well.

The states are every third by name of those with a median of more than 20 admissions a week, so that the test
stays short, and all German ones. They were also looked at when the candidates were picked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.planning import scores
from pipeline.planning.forecast import SEASON, Fold, back_test, choose
from pipeline.planning.methods import candidates

pytestmark = pytest.mark.open_data
HORIZON, FIRST_FOLD, FIRST_ORIGIN, STEP = 12, 24, 36, 3


@dataclass(frozen=True)
class Skill:
    """Medians over origins, and the share of months within their 80 % interval."""

    mase: float
    naive_mase: float
    coverage: float
    origins: int

    @property
    def ratio(self) -> float:
        """Our median error as a share of the seasonal naive's."""
        return self.mase / self.naive_mase

    def __str__(self) -> str:
        return (
            f"median MASE {self.mase:.3f}, seasonal naive {self.naive_mase:.3f} (ratio {self.ratio:.3f}),"
            f" 80 % intervals hold {self.coverage:.1%} of months, {self.origins} origins"
        )


Series = Mapping[str, np.ndarray]


def skill(series: Series, folds_of: Mapping[str, tuple[Fold, ...]], months: int) -> Skill:
    """Return the skill over the first months of each forecast."""
    ours, naive, inside = [], [], []
    for name, counts in series.items():
        for ahead in (fold for fold in folds_of[name] if fold.origin >= FIRST_ORIGIN):
            known, actual = counts[: ahead.origin], counts[ahead.origin : ahead.origin + months]
            earlier = tuple(fold for fold in folds_of[name] if fold.origin < ahead.origin)
            found = choose(known, earlier, ahead, candidates(len(known), SEASON))
            limits = found.spread.quantiles(found.centre, scores.LEVELS)[:, :months]
            scale = scores.naive_scale(known, SEASON)
            ours.append(scores.scaled_error(actual, found.centre[:months], scale))
            naive.append(scores.scaled_error(actual, ahead.forecasts["seasonal_naive"][:months], scale))
            inside.append(scores.coverage(actual, limits[0], limits[-1]))
    return Skill(float(np.median(ours)), float(np.median(naive)), float(np.mean(inside)), len(ours))


def both_spans(series: Series) -> tuple[Skill, Skill]:
    """Return the skill over the year ahead, and over its first half."""
    methods = candidates(FIRST_ORIGIN, SEASON)
    folds_of = {
        name: back_test(counts, HORIZON, methods, range(FIRST_FOLD, len(counts) - HORIZON + 1, STEP))
        for name, counts in series.items()
    }
    return skill(series, folds_of, HORIZON), skill(series, folds_of, HORIZON // 2)


@pytest.fixture(scope="module")
def admissions(open_data: Path) -> tuple[Skill, Skill]:
    weekly = pl.read_csv(open_data / "us_respiratory" / "raw_weekly.csv", infer_schema_length=None)
    monthly = (
        weekly.filter(pl.col("jurisdiction").str.len_chars() == 2)
        .with_columns(
            month=pl.col("weekendingdate").str.slice(0, 7),
            admitted=pl.sum_horizontal("totalconfc19newadm", "totalconfflunewadm"),
        )
        .group_by("jurisdiction", "month")
        .agg(pl.col("admitted").mean())
        .sort("jurisdiction", "month")
    )
    series = _series(monthly, "jurisdiction", "admitted")
    large = [state for state, counts in series.items() if np.median(counts) > 20]
    return both_spans({state: series[state] for state in large[::3]})


@pytest.fixture(scope="module")
def beds(open_data: Path) -> tuple[Skill, Skill]:
    monthly = pl.read_csv(open_data / "icu_census" / "derived_monthly_by_state.csv")
    whole = monthly.filter(pl.col("month") > "2020-03-01").with_columns(
        a_day=pl.col("bed_days") / pl.col("days")
    )
    return both_spans(_series(whole.sort("bundesland_name", "month"), "bundesland_name", "a_day"))


def _series(rows: pl.DataFrame, key: str, value: str) -> dict[str, np.ndarray]:
    return {str(name): own[value].to_numpy() for (name,), own in rows.group_by(key, maintain_order=True)}


def test_forecasts_of_respiratory_admissions_beat_the_seasonal_naive(admissions: tuple[Skill, Skill]) -> None:
    year, half = admissions
    print(f"\nadmissions, a year ahead: {year}\nadmissions, half a year ahead: {half}")
    assert year.ratio < 0.97
    assert half.ratio < 0.85
    assert 0.78 < year.coverage < 0.92


def test_forecasts_of_intensive_care_beds_beat_the_seasonal_naive(beds: tuple[Skill, Skill]) -> None:
    year, half = beds
    print(f"\nbeds, a year ahead: {year}\nbeds, half a year ahead: {half}")
    assert year.ratio < 0.5
    assert half.ratio < 0.4
    assert 0.67 < year.coverage < 0.85


def test_intervals_hold_about_as_often_as_they_say_over_both(
    admissions: tuple[Skill, Skill], beds: tuple[Skill, Skill]
) -> None:
    held = np.average(
        [admissions[0].coverage, beds[0].coverage], weights=[admissions[0].origins, beds[0].origins]
    )
    print(f"\n80 % intervals hold {held:.1%} of months over both, a year ahead")
    assert 0.75 < held < 0.85
