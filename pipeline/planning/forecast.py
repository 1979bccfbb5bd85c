"""Forecast of a series of counts: candidates, the rolling-origin back-test that chooses, and simulated paths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.planning import scores
from pipeline.planning.methods import Counts, Method, candidates, forecasts
from pipeline.planning.spread import LEAST_FOLDS, Spread, learnt_spread, unlearnt_spread

SEASON = 12

#: A candidate replaces the one to beat when its error is below this share of that one's.
_CLEARLY_BETTER = 0.9

#: Origins of the back-test, spread evenly over the history.
_ORIGINS = 12

#: Least history from which anything is forecast.
LEAST_MONTHS = 3


@dataclass(frozen=True)
class Fold:
    """What each candidate forecast from the first ``origin`` observations."""

    origin: int
    forecasts: dict[str, Counts]


@dataclass(frozen=True)
class Score:
    """How a method did over the folds. Pinball loss and coverage need earlier folds to learn a spread from."""

    method: str
    folds: int
    mase: float | None
    pinball_loss: float | None
    coverage_80: float | None


@dataclass(frozen=True)
class Forecast:
    """Medians ahead, their spread, and how the method was chosen."""

    method: Method
    centre: Counts
    spread: Spread
    scores: tuple[Score, ...]
    folds: tuple[Fold, ...]

    def paths(self, number: int, generator: np.random.Generator) -> NDArray[np.int64]:
        """Return simulated counts (number × horizon), in which neighbouring months err together."""
        shocks = generator.standard_normal((number, len(self.centre)))
        keep = self.spread.persistence
        for step in range(1, shocks.shape[1]):
            shocks[:, step] = keep * shocks[:, step - 1] + np.sqrt(1 - keep**2) * shocks[:, step]
        logs = np.log1p(self.centre) + shocks * self.spread.deviations
        return np.maximum(np.rint(np.expm1(logs)), 0).astype(np.int64)


def forecast(counts: Counts, horizon: int, season: int = SEASON) -> Forecast:
    """Return the forecast of the next ``horizon`` observations; needs at least `LEAST_MONTHS` of them."""
    methods = candidates(len(counts), season)
    folds = back_test(counts, horizon, methods, _origins(len(counts), methods, season), season)
    return choose(
        counts, folds, Fold(len(counts), forecasts(counts, horizon, season, methods)), methods, season
    )


def back_test(
    counts: Counts, horizon: int, methods: tuple[Method, ...], origins: range, season: int = SEASON
) -> tuple[Fold, ...]:
    """Return what the methods would have forecast from each origin, knowing only what came before it."""
    return tuple(
        Fold(origin, forecasts(counts[:origin], horizon, season, _able(methods, origin, season)))
        for origin in origins
    )


def choose(
    counts: Counts, folds: tuple[Fold, ...], ahead: Fold, methods: tuple[Method, ...], season: int = SEASON
) -> Forecast:
    """Return the forecast ahead by the method that the folds speak for; the first method is the one to beat."""
    chosen = methods[0]
    if len(folds) >= LEAST_FOLDS:
        shares = {method.name: _error_share(counts, folds, method.name, chosen.name) for method in methods}
        best = min(methods, key=lambda method: shares[method.name])
        chosen = best if shares[best.name] < _CLEARLY_BETTER else chosen
    centre = ahead.forecasts[chosen.name]
    spread = _spread(counts, folds, ahead, chosen.name)
    table = tuple(score(counts, folds, method.name, season) for method in methods)
    return Forecast(chosen, centre, spread, table, folds)


def score(counts: Counts, folds: tuple[Fold, ...], name: str, season: int = SEASON) -> Score:
    """Return how a method's forecasts compare with the counts that came; see `Score`."""
    mases, losses, inside = [], [], []
    mine = [fold for fold in folds if name in fold.forecasts]
    for fold in mine:
        actual = counts[fold.origin : fold.origin + len(fold.forecasts[name])]
        scale = scores.naive_scale(counts[: fold.origin], season)
        mases.append(scores.scaled_error(actual, fold.forecasts[name][: len(actual)], scale))
        if len(_errors(counts, folds, name, fold.origin)) >= LEAST_FOLDS:
            spread = _spread(counts, folds, fold, name)
            limits = spread.quantiles(fold.forecasts[name], scores.LEVELS)[:, : len(actual)]
            losses.append(scores.pinball_loss(actual, limits))
            inside.append(scores.coverage(actual, limits[0], limits[-1]))
    return Score(name, len(mine), _mean(mases), _mean(losses), _mean(inside))


def _origins(history: int, methods: tuple[Method, ...], season: int) -> range:
    first = methods[0].least(season)
    return range(first, history, max(1, (history - first) // _ORIGINS))


def _able(methods: tuple[Method, ...], origin: int, season: int) -> tuple[Method, ...]:
    return tuple(method for method in methods if origin >= method.least(season))


def _errors(counts: Counts, folds: tuple[Fold, ...], name: str, until: int) -> list[Counts]:
    """Return the errors on the log scale of the folds before ``until``, as far as they were known then."""
    known = [
        (fold.origin, fold.forecasts[name])
        for fold in folds
        if name in fold.forecasts and fold.origin < until
    ]
    return [
        np.log1p(counts[origin : min(until, origin + len(ahead))]) - np.log1p(ahead[: until - origin])
        for origin, ahead in known
    ]


def _error_share(counts: Counts, folds: tuple[Fold, ...], name: str, other: str) -> float:
    """Return a method's mean error as a share of another's, over the folds that both took part in."""
    both = tuple(fold for fold in folds if name in fold.forecasts and other in fold.forecasts)
    if len(both) < LEAST_FOLDS:
        return 1.0
    mine, theirs = (np.concatenate(_errors(counts, both, method, len(counts))) for method in (name, other))
    return float(np.abs(mine).mean() / np.abs(theirs).mean()) if np.abs(theirs).any() else 1.0


def _spread(counts: Counts, folds: tuple[Fold, ...], ahead: Fold, name: str) -> Spread:
    centre = ahead.forecasts[name]
    errors = _errors(counts, folds, name, ahead.origin)
    if len(errors) < LEAST_FOLDS:
        return unlearnt_spread(counts[: ahead.origin], centre)
    first = next(fold.origin for fold in folds if name in fold.forecasts)
    return learnt_spread(errors, ahead.origin - first, centre, list(ahead.forecasts.values()))


def _mean(values: list[float | None] | list[float]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.mean(known)) if known else None
