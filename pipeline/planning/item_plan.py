"""One item: its levels, what to order, and how its stock runs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Any

import numpy as np

from pipeline.planning import reorder, stock
from pipeline.planning.projection import Item
from pipeline.planning.records import SiteRecords
from pipeline.planning.reorder import Levels, Supply, Values
from pipeline.planning.simulate import generator_for
from pipeline.planning.stock import Move
from pipeline.planning.stock_checks import Finding

#: Weeks of the past and of the time to come in the lines of stock.
_WEEKS = 26


@dataclass(frozen=True)
class ItemPlan:
    """One item's plan; ``used_by`` is empty where nothing can be said of its demand."""

    records: SiteRecords
    item: Item
    moves: tuple[Move, ...]
    used_by: Values | None
    level: float

    @cached_property
    def levels(self) -> Levels | None:
        """The levels that orders are made by."""
        if self.used_by is None or self.used_by.shape[1] < 2:
            return None
        stream = generator_for(self.records.site_id, self.item.item_id, "lead times")
        return reorder.order_levels(self.item, self.used_by, self.moves, stream, self.level)

    @cached_property
    def supply(self) -> Supply:
        """What is in store and coming."""
        days = 1 if self.used_by is None else self.used_by.shape[1] - 1
        return reorder.supply(self.item, self.moves, self.records.as_of_day, days)

    @cached_property
    def proposed_packs(self) -> int | None:
        """The packs that the levels ask for, before they are held against the orders of the past."""
        held, levels = self.supply, self.levels
        return (
            None if levels is None else reorder.packs_to_order(self.item, levels, held.usable + held.on_order)
        )

    @cached_property
    def is_outside(self) -> bool:
        """Whether the order is too far outside history to be proposed."""
        return bool(self.proposed_packs) and reorder.is_outside_history(
            self.item, self.proposed_packs or 0, self.moves
        )

    def row(self) -> dict[str, Any]:
        """Return the row of stock_plan."""
        held, levels, item = self.supply, self.levels, self.item
        row = {
            **self._names(),
            "on_hand": held.on_hand,
            "usable": held.usable,
            "on_order": held.on_order,
            "lead_time_days": item.lead_time_days,
            "lead_time_sd_days": item.lead_time_sd_days,
            "shelf_life_days": item.shelf_life_days,
            "pack_size": item.pack_size,
            "unit_price": item.price,
            "min_order_packs": item.min_order_packs,
        }
        if levels is None or self.used_by is None:
            return row
        days = reorder.run_out_days(held.usable, held.arrivals, self.used_by)
        early, middle = (
            None if day is None else self.records.as_of_day + timedelta(days=day) for day in days
        )
        return {
            **row,
            **vars(levels),
            "expiring_unused": self._expiring(held),
            "run_out_p10_on": early,
            "run_out_p50_on": middle,
            "order_packs": None if self.is_outside else self.proposed_packs,
        }

    def budget_rows(self) -> list[dict[str, Any]]:
        """Return the orders of each month to come if demand runs as expected."""
        if self.used_by is None or (levels := self.levels) is None or self.is_outside:
            return []
        months: dict[str, list[int]] = {}
        for day, packs in reorder.orders_ahead(self.item, levels, self.supply, self.used_by.mean(axis=0)):
            months.setdefault(f"{self.records.as_of_day + timedelta(days=day):%Y-%m}", []).append(packs)
        return [
            {
                **self._names(),
                "month": month,
                "orders": len(packs),
                "order_packs": sum(packs),
                "cost": sum(packs) * self.item.price,
            }
            for month, packs in sorted(months.items())
        ]

    def line_rows(self) -> list[dict[str, Any]]:
        """Return the stock of the past weeks, and of those to come without further orders."""
        point = None if (levels := self.levels) is None else levels.reorder_point
        return [
            {**self._names(), **values, "reorder_point": point} for values in (*self._past(), *self._ahead())
        ]

    def findings(self) -> Iterator[Finding]:
        """Yield what the plan of the item gives to look at."""
        held, item = self.supply, self.item
        if gone := stock.expired(held.lots, self.records.as_of_day):
            yield Finding(
                "lot_expired",
                f"{item.item_id}: {gone:g} pieces in store have expired.",
                item.item_id,
                item.part,
            )
        lost = self._expiring(held)
        if lost is not None and lost - gone >= 1:
            words = f"{item.item_id}: some {math.floor(lost - gone)} pieces will expire before they are used."
            yield Finding("expiring_unused", words, item.item_id, item.part)
        if self.is_outside:
            words = f"{item.item_id}: the levels ask for {self.proposed_packs} packs, far above every order on record."
            yield Finding(
                "order_outside_history", f"{words} Check pack size and stock first.", item.item_id, item.part
            )

    def _names(self) -> Mapping[str, str]:
        return {"site_id": self.records.site_id, "item_id": self.item.item_id, "part": self.item.part}

    def _expiring(self, held: Supply) -> float | None:
        if self.used_by is None:
            return None
        return stock.expiring_unused(held.lots, self.records.as_of_day, self.used_by.mean(axis=0).tolist())

    def _past(self) -> Iterator[dict[str, Any]]:
        by_day = {instant.date(): pieces for instant, pieces in stock.levels(self.moves)}
        days = sorted(by_day)
        for weeks in range(_WEEKS, -1, -1):
            on = self.records.as_of_day - timedelta(weeks=weeks)
            known = [day for day in days if day <= on]
            if known:
                yield {"on": on, "pieces": by_day[known[-1]]}

    def _ahead(self) -> Iterator[dict[str, Any]]:
        if self.used_by is None:
            return
        held, last = self.supply, self.used_by.shape[1] - 1
        coming = np.cumsum(held.arrivals)
        for day in range(7, min(7 * _WEEKS, last) + 1, 7):
            left = np.maximum(held.usable + coming[day] - self.used_by[:, day], 0)
            low, middle, high = np.percentile(left, [10, 50, 90])
            on = self.records.as_of_day + timedelta(days=day)
            yield {"on": on, "pieces": float(middle), "pieces_p10": float(low), "pieces_p90": float(high)}
