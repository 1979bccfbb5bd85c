"""Stock as the supplies office moves it, matching what was fitted with some waste; the daily ward census."""

from __future__ import annotations

import datetime
import math
from collections import Counter

import numpy as np
import polars as pl

from synthetic_logs.parts import ITEMS, Item, lot_at
from synthetic_logs.scenario import DAY, HOUR, MINUTE, Scenario, Site, local_date
from synthetic_logs.stays import Leg

#: move, item, instant, kind, pieces, location
Move = tuple[int, str, str, int, str]
WASTE = 0.04


def items_table() -> pl.DataFrame:
    """Return what both sites can order."""
    rows = [
        (
            item.item_id,
            item.part,
            item.pack_size,
            item.unit_price,
            item.lead_time_days,
            item.lead_time_sd_days,
            item.shelf_life_days,
            item.min_order_packs,
        )
        for item in ITEMS
    ]
    names = (
        "item_id part pack_size unit_price lead_time_days lead_time_sd_days shelf_life_days min_order_packs"
    )
    return pl.DataFrame(rows, schema=names.split(), orient="row")


def stock_moves_table(scenario: Scenario, site: Site, fitted: pl.DataFrame, legs: list[Leg]) -> pl.DataFrame:
    """Return the moves of every item by time: weekly issues to wards, orders, receipts, monthly counts."""
    moves: list[Move] = []
    for item in ITEMS:
        rows = fitted.filter(pl.col("item_id") == item.item_id)
        used = Counter(
            ((at - scenario.start) // (7 * DAY), legs[leg].ward)
            for at, leg in rows.select("fitted_at", "leg").iter_rows()
        )
        moves += _item_moves(scenario, site, item, used, scenario.stream("stock", site.site_id, item.item_id))
    moves.sort()
    lots = [lot_at(item_id, at) for at, item_id, _, _, _ in moves]
    shelf = {item.item_id: item.shelf_life_days for item in ITEMS}
    return pl.DataFrame(
        {
            "move_ref": [f"{site.letter}M{number:06d}" for number in range(1, len(moves) + 1)],
            "item_id": [move[1] for move in moves],
            "moved_at": [move[0] for move in moves],
            "kind": [move[2] for move in moves],
            "quantity": [move[3] for move in moves],
            "location": [move[4] for move in moves],
            "lot": [lot if move[2] != "count" else None for move, (lot, _) in zip(moves, lots, strict=True)],
            "expires_on": [
                made + datetime.timedelta(days=shelf[move[1]]) if move[2] != "count" else None
                for move, (_, made) in zip(moves, lots, strict=True)
            ],
        },
        schema_overrides={"lot": pl.String, "expires_on": pl.Date},
    )


def _item_moves(
    scenario: Scenario, site: Site, item: Item, used: Counter[tuple[int, str]], generator: np.random.Generator
) -> list[Move]:
    """Return one item's moves: on Monday mornings the past week's need is issued, then stock is reordered."""
    weeks = (scenario.end - scenario.start) // (7 * DAY)
    per_day = max(sum(used.values()) / max(weeks * 7, 1), 0.05)
    reorder_at = math.ceil(per_day * 1.5 * (item.lead_time_days + 10))
    on_hand = _packs(item, 2.2 * reorder_at)
    moves: list[Move] = [(scenario.start + 6 * HOUR, item.item_id, "count", on_hand, "central")]
    due: list[tuple[int, int]] = []
    for week in range(1, weeks + 1):
        now = scenario.start + week * 7 * DAY + 8 * HOUR + int(generator.integers(0, 90)) * MINUTE
        arrived = [order for order in due if order[0] < now]
        due = [order for order in due if order[0] >= now]
        moves += [(at, item.item_id, "receipt", pieces, "central") for at, pieces in arrived]
        on_hand += sum(pieces for _, pieces in arrived)
        for ward in site.wards:
            need = used[week - 1, ward.name]
            pieces = min(need + int(generator.binomial(need, WASTE)), on_hand)
            if pieces:
                moves.append((now, item.item_id, "issue", pieces, ward.name))
                on_hand -= pieces
        if week % 4 == 0:
            moves.append((now + HOUR, item.item_id, "count", on_hand, "central"))
        if on_hand + sum(pieces for _, pieces in due) < reorder_at:
            pieces = _packs(item, reorder_at)
            days = max(item.lead_time_days + item.lead_time_sd_days * generator.standard_normal(), 2)
            moves.append((now + 2 * HOUR, item.item_id, "ordered", pieces, "central"))
            due.append((int(now + days * DAY) // HOUR * HOUR, pieces))
    return [move for move in moves if move[0] < scenario.end]


def _packs(item: Item, pieces: float) -> int:
    """Return the pieces in the least whole number of packs that holds them and may be ordered."""
    return max(math.ceil(pieces / item.pack_size), item.min_order_packs) * item.pack_size


def ward_census_table(scenario: Scenario, site: Site) -> pl.DataFrame:
    """Return each ward's patients at the daily count, more of them in winter."""
    rows = []
    days = (local_date(scenario.end) - local_date(scenario.start)).days
    for ward in site.wards:
        generator = scenario.stream("census", site.site_id, ward.name)
        for day in range(days):
            counted_on = local_date(scenario.start) + datetime.timedelta(days=day)
            winter = 0.12 * math.cos(2 * math.pi * (counted_on.timetuple().tm_yday - 22) / 365.25)
            patients = round(ward.patients * (1 + winter) + 1.5 * generator.standard_normal())
            rows.append((ward.name, counted_on, max(patients, 0)))
    return pl.DataFrame(rows, schema=["ward", "counted_on", "patients"], orient="row")
