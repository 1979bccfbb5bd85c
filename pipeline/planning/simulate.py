"""Months to come, many times over: forecast months → stays drawn from the past → pieces of each part."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.planning.need import StayPool

Pieces = NDArray[np.int64]

#: Simulated futures; enough that the 10th and 90th percentile move by less than a piece in fifty.
FUTURES = 1000

BY_RULES, PRACTISED, SUPPLIED = "rules", "practised", "supplied"


@dataclass(frozen=True)
class MonthAhead:
    """One month to come: its days, the stays that start in each future, and the pool they are drawn from."""

    month: str
    days: int
    stays: Pieces
    pool: StayPool


@dataclass(frozen=True)
class Futures:
    """Simulated months. ``pieces`` maps (basis, part) to futures × months, ``supply`` a part to futures × days."""

    months: tuple[str, ...]
    stays: Pieces
    therapy_days: NDArray[np.float64]
    pieces: Mapping[tuple[str, str], Pieces]
    supply: Mapping[str, Pieces]


def generator_for(*names: str) -> np.random.Generator:
    """Return a PCG64 generator whose stream depends on the names only, so that every run repeats exactly."""
    return np.random.Generator(np.random.PCG64([zlib.crc32(name.encode()) for name in names]))


def simulate(site_id: str, ahead: Sequence[MonthAhead]) -> Futures:
    """Return the futures of these months.

    A stay takes all its pieces on a random day of the month it starts in; each month has its own stream, so
    that plans under other rules meet the same stays.
    """
    parts = sorted(ahead[0].pool.fitted)
    pieces: dict[tuple[str, str], list[Pieces]] = {}
    supply: dict[str, list[Pieces]] = {part: [] for part in parts}
    therapy = []
    for month in ahead:
        drawn = _draw(month, generator_for(site_id, month.month))
        therapy.append(drawn.sums(month.pool.hours / 24).sum(axis=1))
        for part in parts:
            needed = month.pool.needed.get(part, np.zeros(len(month.pool), dtype=np.int64))
            daily = drawn.sums(month.pool.supplied(part)).astype(np.int64)
            supply[part].append(daily)
            pieces.setdefault((SUPPLIED, part), []).append(daily.sum(axis=1))
            pieces.setdefault((PRACTISED, part), []).append(drawn.totals(month.pool.fitted[part]))
            if part in month.pool.needed:
                pieces.setdefault((BY_RULES, part), []).append(drawn.totals(needed))
    return Futures(
        months=tuple(month.month for month in ahead),
        stays=np.column_stack([month.stays for month in ahead]),
        therapy_days=np.column_stack(therapy),
        pieces={key: np.column_stack(columns) for key, columns in pieces.items()},
        supply={part: np.concatenate(days, axis=1) for part, days in supply.items()},
    )


@dataclass(frozen=True)
class _Drawn:
    """Stays of one month: for each its future, its day, and its position in the pool."""

    futures: int
    days: int
    cell: Pieces
    stay: Pieces

    def sums(self, of_stay: NDArray[np.float64] | Pieces) -> NDArray[Any]:
        """Return the sum of a quantity of the stays by future and day."""
        flat = np.bincount(self.cell, of_stay[self.stay], self.futures * self.days)
        return flat.reshape(self.futures, self.days)

    def totals(self, of_stay: Pieces) -> Pieces:
        """Return the sum of a quantity of the stays by future."""
        return self.sums(of_stay).sum(axis=1).astype(np.int64)


def _draw(month: MonthAhead, generator: np.random.Generator) -> _Drawn:
    number = int(month.stays.sum()) if len(month.pool) else 0
    future = np.repeat(np.arange(len(month.stays)), month.stays if number else 0)
    day = generator.integers(0, month.days, number)
    stay = generator.integers(0, max(len(month.pool), 1), number)
    return _Drawn(len(month.stays), month.days, future * month.days + day, stay)


def split_among_items(pieces: Pieces, shares: Sequence[float], generator: np.random.Generator) -> Pieces:
    """Share each count out among items at random (… × items), by their shares of the past."""
    return generator.multinomial(pieces, np.asarray(shares) / np.sum(shares))
