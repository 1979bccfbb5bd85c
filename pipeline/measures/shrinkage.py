"""Rates of small units drawn in towards the whole: beta-binomial shares and gamma-Poisson ratios.

The mean is the pooled one (empirical Bayes). How far units differ is not estimated as one number, which few
units cannot support, but averaged over with the uniform shrinkage prior (Christiansen & Morris, Ann Intern Med
1997;127:764-768): each degree of drawing in, from none to all the way, is equally likely beforehand.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray

_GRID, _LOG_SIZES = 161, 13.8
_CLOSE = 1e-13

#: Prior sizes of less weight change no digit of a sum, and would take most of the time.
_NO_WEIGHT = 1e-17


@dataclass(frozen=True)
class Shrunken:
    """A unit's rate drawn in towards the whole, with a 95 % interval; ``weight`` is the share of its own data."""

    value: float
    low: float
    high: float
    weight: float


def shrunken_shares(counts: Sequence[int], totals: Sequence[int]) -> list[Shrunken] | None:
    """Return each share counts/totals drawn in (totals above 0); None where the pooled share is 0 or 1."""
    import numpy as np
    from scipy.special import betainc, betaln

    pooled = sum(counts) / sum(totals)
    if not 0 < pooled < 1:
        return None
    prior = _prior_sizes(totals)
    before, against = prior * pooled, prior * (1 - pooled)
    likelihood = np.sum(
        [
            betaln(count + before, total - count + against) - betaln(before, against)
            for count, total in zip(counts, totals, strict=True)
        ],
        axis=0,
    )
    prior, weights = _posterior(prior, likelihood)
    before, against = prior * pooled, prior * (1 - pooled)

    def drawn_in(count: int, total: int) -> Shrunken:
        return _shrunken(
            weights,
            (count + before) / (total + prior),
            total / (total + prior),
            lambda value: betainc(count + before, total - count + against, value),
            1.0,
        )

    return [drawn_in(count, total) for count, total in zip(counts, totals, strict=True)]


def shrunken_ratios(observed: Sequence[int], expected: Sequence[float]) -> list[Shrunken]:
    """Return each ratio observed/expected (above 0) drawn in towards 1."""
    import numpy as np
    from scipy.special import gammainc, gammaln

    prior = _prior_sizes(expected)
    likelihood = np.sum(
        [
            gammaln(events + prior)
            - gammaln(prior)
            + prior * np.log(prior)
            - (events + prior) * np.log(wanted + prior)
            for events, wanted in zip(observed, expected, strict=True)
        ],
        axis=0,
    )
    prior, weights = _posterior(prior, likelihood)
    highest = 20 + 20 * max(events / wanted for events, wanted in zip(observed, expected, strict=True))

    def drawn_in(events: int, wanted: float) -> Shrunken:
        return _shrunken(
            weights,
            (events + prior) / (wanted + prior),
            wanted / (wanted + prior),
            lambda value: gammainc(events + prior, value * (wanted + prior)),
            highest,
        )

    return [drawn_in(events, wanted) for events, wanted in zip(observed, expected, strict=True)]


def _prior_sizes(sizes: Sequence[float]) -> Array:
    """Return prior sizes from a millionth to a million times that of a unit of middling size, evenly in logarithms."""
    import numpy as np

    middling = len(sizes) / sum(1 / size for size in sizes)
    return middling * np.exp(_LOG_SIZES * np.linspace(-1, 1, _GRID))


def _posterior(prior: Array, log_likelihood: Array) -> tuple[Array, Array]:
    """Return the prior sizes that matter and their weights; degrees of drawing in are uniform beforehand."""
    import numpy as np

    degrees = 1 / (1 + np.exp(-_LOG_SIZES * np.linspace(-1, 1, _GRID)))
    likely = np.exp(log_likelihood - log_likelihood.max()) * degrees * (1 - degrees)
    weights = likely / likely.sum()
    kept = weights > _NO_WEIGHT
    return prior[kept], weights[kept]


def _shrunken(
    weights: Array, means: Array, own: Array, up_to: Callable[[float], Array], highest: float
) -> Shrunken:
    from scipy.optimize import brentq

    def limit(probability: float) -> float:
        # Nothing of the weight lies below 0 and all of it up to the highest, so that the limit lies between.
        found: float = brentq(
            lambda value: float(weights @ up_to(value)) - probability, 0.0, highest, xtol=_CLOSE
        )
        return found

    return Shrunken(float(weights @ means), limit(0.025), limit(0.975), float(weights @ own))
