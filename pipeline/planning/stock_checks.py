"""What is wrong with the record of stock, as findings in plain words; the plan goes on without what they name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

import polars as pl

from pipeline.planning.projection import Item
from pipeline.planning.records import SiteRecords
from pipeline.planning.stock import Move, levels, open_orders, stores

#: A movement this many times the usual one, and this many times all but the largest tenth, is far outside history.
_FAR_FROM_MEDIAN, _FAR_FROM_MOST = 5, 3

#: Fewer movements of a kind than this make no history.
_LEAST_MOVES = 6


@dataclass(frozen=True)
class Finding:
    """One thing that the buyer should look at. ``code`` is stable, ``message`` in plain words."""

    code: str
    message: str
    item_id: str | None = None
    part: str | None = None


def suspected_unit_errors(moves: Sequence[Move], pack_size: float) -> dict[str, str]:
    """Return by move_ref, in plain words, the movements that look like packs entered as pieces or the reverse."""
    found = {}
    for kind in ("ordered", "receipt", "issue"):
        alike = [move for move in moves if move.kind == kind]
        if len(alike) < _LEAST_MOVES or pack_size <= 1:
            continue
        for move in alike:
            others = sorted(other.quantity for other in alike if other is not move)
            usual, most = median(others), others[int(0.9 * (len(others) - 1))]
            if move.quantity > max(_FAR_FROM_MEDIAN * usual, _FAR_FROM_MOST * most):
                words = f"{move.quantity:g} pieces, usually {usual:g}: pieces entered where packs were meant?"
                found[move.move_ref] = f"{kind} {move.move_ref} on {move.moved_at:%Y-%m-%d} is of {words}"
            elif kind != "issue" and _looks_like_packs(move.quantity, usual, pack_size):
                words = (
                    f"{move.quantity:g} pieces, usually {usual:g}: packs of {pack_size:g} entered as pieces?"
                )
                found[move.move_ref] = f"{kind} {move.move_ref} on {move.moved_at:%Y-%m-%d} is of {words}"
    return found


def _looks_like_packs(quantity: float, usual: float, pack_size: float) -> bool:
    """Orders come in whole packs: a few pieces that make the usual order when taken as packs are no pieces."""
    return quantity % pack_size != 0 and 0.4 <= quantity * pack_size / max(usual, 1) <= 2.5


def record_findings(
    records: SiteRecords, items: Sequence[Item], moves: Mapping[str, Sequence[Move]]
) -> list[Finding]:
    """Return what is missing from the lists of items and stock."""
    listed = {item.item_id: item for item in items}
    found = []
    if not items:
        found.append(
            Finding("no_items", "No items with pack size and price are on record: need is in pieces only.")
        )
    if not moves:
        found.append(
            Finding("no_stock_data", "No stock movements are on record: nothing is said about orders.")
        )
    for item in sorted(moves.keys() - listed.keys()):
        words = (
            "has stock movements but is not in the list of items, so that it has no part, pack size or price."
        )
        found.append(
            Finding("item_without_part", f"{item} {words} Look for its row in the quarantine.", item)
        )
    fitted = records.tables["fitting_reasons"]["item_id"].drop_nulls().unique().sort()
    for item in fitted:
        if listed and item not in listed and item not in moves:
            found.append(
                Finding("item_without_part", f"{item} was fitted but is not in the list of items.", item)
            )
    used = records.tables["stay_parts"].filter(pl.col("fitted") > 0)["part"].unique().sort()
    for part in used:
        if listed and part not in {item.part for item in items}:
            words = f"The part {part} is fitted, but no item is listed for it: its need is in pieces only."
            found.append(Finding("part_without_items", words, None, part))
    for item_id, entry in listed.items():
        if not entry.price:
            found.append(
                Finding("no_price", f"{item_id} has a price of 0: its cost is left out.", item_id, entry.part)
            )
        if moves and item_id not in moves:
            words = f"{item_id} has no stock movements: nothing is said about its orders."
            found.append(Finding("no_stock_data", words, item_id, entry.part))
    return found


def item_findings(item: Item, moves: Sequence[Move], records: SiteRecords) -> Iterator[Finding]:
    """Yield what the movements of one item contradict."""
    if not any(move.kind in ("receipt", "count") for move in moves):
        words = f"{item.item_id} has no count and no receipt on record: its stock is not known."
        yield Finding("no_stock_data", words, item.item_id, item.part)
        return
    below = [instant for instant, pieces in levels(moves) if pieces < 0]
    if below:
        words = f"{item.item_id}: the movements leave less than nothing in store from {below[0]:%Y-%m-%d}."
        yield Finding("negative_stock", f"{words} Count the stock.", item.item_id, item.part)
    issued, returned = (_sum(moves, kind) for kind in ("issue", "return"))
    if returned > issued:
        words = f"{item.item_id}: more was returned ({returned:g}) than issued ({issued:g})."
        yield Finding("returns_above_issues", words, item.item_id, item.part)
    for order in open_orders(moves):
        if order.is_overdue(records.as_of_day, item.lead_time_days):
            words = f"{item.item_id}: {order.pieces:g} pieces ordered on {order.ordered_at:%Y-%m-%d} have not come"
            yield Finding(
                "order_overdue", f"{words} and are not counted on; ask the supplier.", item.item_id, item.part
            )
    elsewhere = sorted({move.location for move in moves if move.kind == "count"} - stores(moves))
    if elsewhere:
        words = (
            f"{item.item_id}: counts at {', '.join(elsewhere)} are no count of the stores and are left out."
        )
        yield Finding("count_elsewhere", words, item.item_id, item.part)


def findings_table(site_id: str, found: Sequence[Finding]) -> pl.DataFrame:
    """Return the findings as rows, in order of code and item."""
    rows = [(site_id, one.code, one.item_id, one.part, one.message) for one in found]
    names = ("site_id", "code", "item_id", "part", "message")
    table = pl.DataFrame(rows, dict.fromkeys(names, pl.String), orient="row")
    return table.sort("code", "item_id", "part", "message", nulls_last=False)


def _sum(moves: Sequence[Move], kind: str) -> float:
    return sum(move.quantity for move in moves if move.kind == kind)
