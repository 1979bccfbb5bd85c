"""Simulated months as tables: need, packs and money by part and item, for each month and for whole years."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.planning.records import SiteRecords
from pipeline.planning.shares import item_shares
from pipeline.planning.simulate import (
    BY_RULES,
    PRACTISED,
    SUPPLIED,
    Futures,
    Pieces,
    generator_for,
    split_among_items,
)

_YEAR = 12
_NUMBERS = ("need_mean", "need_p10", "need_p50", "need_p90", "packs_p50", "packs_p90", "cost_p50", "cost_p90")
PROJECTION = pl.Schema(
    {
        "site_id": pl.String,
        "part": pl.String,
        "item_id": pl.String,
        "from_month": pl.String,
        "to_month": pl.String,
        **dict.fromkeys(_NUMBERS[:4], pl.Float64),
        **dict.fromkeys(_NUMBERS[4:6], pl.Int64),
        **dict.fromkeys(_NUMBERS[6:], pl.Float64),
    }
)


@dataclass(frozen=True)
class Item:
    """What purchasing can order: ``price`` is per pack of ``pack_size`` pieces."""

    item_id: str
    part: str
    pack_size: float
    price: float
    lead_time_days: float
    lead_time_sd_days: float
    shelf_life_days: float | None
    min_order_packs: int


def items_of(records: SiteRecords) -> tuple[Item, ...]:
    """Return the site's items in order of part and item."""
    rows = records.tables["purchase_items"].sort("part", "item_id").iter_rows(named=True)
    return tuple(
        Item(
            row["item_id"],
            row["part"],
            row["pack_size"],
            row["unit_price"],
            row["lead_time_days"],
            row["lead_time_sd_days"] or 0.0,
            row["shelf_life_days"],
            math.ceil(row["min_order_packs"] or 0),
        )
        for row in rows
    )


def spans(months: tuple[str, ...]) -> list[slice]:
    """Return the positions of each month, then of each whole year, or of all months when they fill none."""
    years = [slice(start, start + _YEAR) for start in range(0, len(months) - _YEAR + 1, _YEAR)]
    return [slice(number, number + 1) for number in range(len(months))] + (years or [slice(0, len(months))])


def item_pieces(records: SiteRecords, part: str, pieces: Pieces, *stream: str) -> dict[str, Pieces]:
    """Share a part's pieces (of any shape) out among its items, by their shares of the past."""
    shares = item_shares(records, part)
    if not shares:
        return {}
    split = split_among_items(pieces, list(shares.values()), generator_for(records.site_id, part, *stream))
    return {item: split[..., number] for number, item in enumerate(shares)}


def projection(records: SiteRecords, futures: Futures, items: tuple[Item, ...], basis: str) -> pl.DataFrame:
    """Return need by part (item_id empty) and by item; costs of a part are of pieces, of an item of whole packs."""
    rows: list[dict[str, Any]] = []
    known = {item.item_id: item for item in items}
    for part in sorted(part for kind, part in futures.pieces if kind == basis):
        by_month = futures.pieces[basis, part]
        by_item = item_pieces(records, part, by_month, "items")
        prices = {item: known[item].price / known[item].pack_size for item in by_item}
        costs = sum((by_item[item] * price for item, price in prices.items()), np.zeros(by_month.shape))
        for place in spans(futures.months):
            span = {"site_id": records.site_id, "part": part, **_months(futures.months, place)}
            rows.append(
                {**span, **_quantiles(by_month[:, place]), **_money(costs[:, place] if by_item else None)}
            )
            for item, pieces in by_item.items():
                numbers = _quantiles(pieces[:, place])
                rows.append({**span, "item_id": item, **numbers, **_packs(numbers, known[item])})
    return pl.DataFrame(rows, PROJECTION).sort("part", "item_id", "to_month", "from_month", nulls_last=False)


def activity(records: SiteRecords, futures: Futures) -> pl.DataFrame:
    """Return the stays started and the therapy days of each month and year to come."""
    rows = [
        {
            "site_id": records.site_id,
            "measure": name,
            **_months(futures.months, place),
            **_named(values[:, place]),
        }
        for name, values in (("stays_started", futures.stays), ("therapy_days", futures.therapy_days))
        for place in spans(futures.months)
    ]
    return pl.DataFrame(rows)


def compliance_cost(records: SiteRecords, futures: Futures, items: tuple[Item, ...]) -> pl.DataFrame:
    """Return by item, over the first year, what practice takes, what the rules require, and what that adds.

    Added are the pieces of stays in which practice took fewer than the rules require.
    """
    known, rows = {item.item_id: item for item in items}, []
    year = slice(0, _YEAR)
    for part in sorted(part for basis, part in futures.pieces if basis == BY_RULES):
        means = {basis: mean_pieces(futures, basis, part) for basis in (BY_RULES, PRACTISED, SUPPLIED)}
        for item, share in _shares_or_whole(records, part):
            rows.append(
                {
                    "site_id": records.site_id,
                    "part": part,
                    "item_id": item,
                    **_months(futures.months, year),
                    **_compliance(means, share, known.get(item or "")),
                }
            )
    return pl.DataFrame(rows, infer_schema_length=None)


def _shares_or_whole(records: SiteRecords, part: str) -> Sequence[tuple[str | None, float]]:
    """Return the shares of a part's items, or the part as a whole where none is listed."""
    return list(item_shares(records, part).items()) or [(None, 1.0)]


def _compliance(means: Mapping[str, float], share: float, item: Item | None) -> dict[str, float | None]:
    pieces = {
        "rules": means[BY_RULES] * share,
        "practised": means[PRACTISED] * share,
        "added": (means[SUPPLIED] - means[PRACTISED]) * share,
    }
    price = item.price / item.pack_size if item else None
    costs = {f"{name}_cost": None if price is None else number * price for name, number in pieces.items()}
    return {**{f"{name}_pieces": number for name, number in pieces.items()}, **costs}


def mean_pieces(futures: Futures, basis: str, part: str) -> float:
    """Return the mean pieces of the first year ahead (of all months where they make none)."""
    return float(futures.pieces[basis, part][:, :_YEAR].sum(axis=1).mean())


def _months(months: tuple[str, ...], place: slice) -> dict[str, str]:
    return {"from_month": months[place][0], "to_month": months[place][-1]}


def _totals(values: NDArray[Any]) -> Iterator[tuple[str, float]]:
    sums = values.sum(axis=1)
    yield "mean", float(sums.mean())
    for level in (10, 50, 90):
        # The value of one of the futures, so that pieces stay whole.
        yield f"p{level}", float(np.percentile(sums, level, method="inverted_cdf"))


def _quantiles(values: NDArray[Any]) -> dict[str, float]:
    return {f"need_{name}": number for name, number in _totals(values)}


def _named(values: NDArray[Any]) -> dict[str, float]:
    return dict(_totals(values))


def _money(costs: NDArray[Any] | None) -> dict[str, float]:
    if costs is None:
        return {}
    found = dict(_totals(costs))
    return {"cost_p50": found["p50"], "cost_p90": found["p90"]}


def _packs(numbers: Mapping[str, float], item: Item) -> dict[str, float]:
    packs = {level: math.ceil(numbers[f"need_{level}"] / item.pack_size) for level in ("p50", "p90")}
    costs = {f"cost_{level}": number * item.price for level, number in packs.items()}
    return {**{f"packs_{level}": number for level, number in packs.items()}, **costs}
