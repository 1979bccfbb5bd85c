"""What is in store and on its way, from movements and counts; a count is the absolute stock of its moment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

#: How each kind of movement changes the stock; an order changes nothing until it is received.
SIGNS = {"receipt": 1, "return": 1, "issue": -1, "write_off": -1}

#: An order not received after so many lead times is not counted on any more.
_LEAD_TIMES = 2
_LEAST_WAIT_DAYS = 14


@dataclass(frozen=True)
class Move:
    """One movement, in pieces."""

    move_ref: str
    moved_at: datetime
    kind: str
    quantity: float
    location: str
    expires_on: date | None


@dataclass(frozen=True)
class Lot:
    """Pieces that expire together; ``expires_on`` is empty where that is not known."""

    pieces: float
    expires_on: date | None


@dataclass(frozen=True)
class OpenOrder:
    """Pieces ordered and not received."""

    ordered_at: datetime
    pieces: float

    def is_overdue(self, as_of_day: date, lead_time_days: float) -> bool:
        """Return whether it should have come so long ago that it is not counted on."""
        wait_days = max(_LEAD_TIMES * lead_time_days, lead_time_days + _LEAST_WAIT_DAYS)
        return (as_of_day - self.ordered_at.date()).days > wait_days


def moves_by_item(
    ledger: pl.DataFrame, left_out: frozenset[str] = frozenset()
) -> dict[str, tuple[Move, ...]]:
    """Return each item's movements in order of time; at one instant a count comes last."""
    rows = ledger.filter(~pl.col("move_ref").is_in(sorted(left_out))).with_columns(
        last=pl.col("kind") == "count", location=pl.col("location").fill_null("")
    )
    ordered = rows.sort("item_id", "moved_at", "last", "move_ref")
    columns = ("move_ref", "moved_at", "kind", "quantity", "location", "expires_on")
    return {
        str(item): tuple(Move(*row) for row in moves.select(columns).iter_rows())
        for (item,), moves in ordered.group_by("item_id", maintain_order=True)
    }


def stores(moves: Sequence[Move]) -> frozenset[str]:
    """Return the locations that hold stock: those that receive, else those that are counted.

    An issue names where it goes; a count elsewhere is a ward's cupboard, which the stores do not see.
    """
    received = frozenset(move.location for move in moves if move.kind == "receipt")
    return received or frozenset(move.location for move in moves if move.kind == "count")


def levels(moves: Sequence[Move]) -> list[tuple[datetime, float]]:
    """Return the stock after each movement that changes it.

    Stock is kept for each store; an issue is taken from the store it names, else from the one that receives
    most. With one store all movements are its own.
    """
    places = stores(moves)
    received = {
        place: sum(m.quantity for m in moves if m.kind == "receipt" and m.location == place)
        for place in places
    }
    main = max(sorted(places), key=lambda place: received[place], default="")
    held = dict.fromkeys(places, 0.0)
    found = []
    for move in moves:
        place = move.location if move.location in places else main
        if move.kind == "count" and move.location in places:
            held[place] = move.quantity
        elif move.kind in SIGNS:
            held[place] = held.get(place, 0.0) + SIGNS[move.kind] * move.quantity
        else:
            continue
        found.append((move.moved_at, sum(held.values())))
    return found


def on_hand(moves: Sequence[Move]) -> float:
    """Return the stock after the last movement; 0 where nothing ever moved."""
    found = levels(moves)
    return found[-1][1] if found else 0.0


def open_orders(moves: Sequence[Move]) -> tuple[OpenOrder, ...]:
    """Return the orders not yet received, the oldest first; each receipt fills the oldest ones."""
    left: list[OpenOrder] = []
    for move in moves:
        if move.kind == "ordered":
            left.append(OpenOrder(move.moved_at, move.quantity))
        elif move.kind == "receipt":
            left = _filled(left, move.quantity)
    return tuple(left)


def _filled(orders: list[OpenOrder], pieces: float) -> list[OpenOrder]:
    kept = []
    for order in orders:
        taken = min(order.pieces, pieces)
        pieces -= taken
        if order.pieces > taken:
            kept.append(OpenOrder(order.ordered_at, order.pieces - taken))
    return kept


def lots_left(moves: Sequence[Move]) -> tuple[Lot, ...]:
    """Return what is in store by expiry, the first to expire first; lots without a date come last.

    First expired, first out: what is left came with the receipts that expire last.
    """
    rest = max(on_hand(moves), 0.0)
    received: Mapping[date | None, float] = {}
    for move in moves:
        if move.kind in ("receipt", "return"):
            received = {**received, move.expires_on: received.get(move.expires_on, 0.0) + move.quantity}
    left = []
    for expires_on in sorted((day for day in received if day), reverse=True):
        pieces = min(received[expires_on], rest)
        rest -= pieces
        if pieces > 0:
            left.append(Lot(pieces, expires_on))
    return (*reversed(left), *([Lot(rest, None)] if rest > 0 else []))


def expiring_unused(lots: Sequence[Lot], as_of: date, used_by: Sequence[float]) -> float:
    """Return the pieces that expire before they are used, first expired first out.

    ``used_by[n]`` is the demand expected within n days; after its last day it goes on at its mean rate.
    """
    gone, lost = 0.0, 0.0
    for lot in lots:
        if lot.expires_on is None:
            break
        wanted = max(_used_within((lot.expires_on - as_of).days, used_by) - gone, 0.0)
        taken = min(lot.pieces, wanted)
        gone += taken
        lost += lot.pieces - taken
    return lost


def expired(lots: Sequence[Lot], as_of: date) -> float:
    """Return the pieces in store whose last day has passed."""
    return sum(lot.pieces for lot in lots if lot.expires_on and lot.expires_on < as_of)


def _used_within(days: int, used_by: Sequence[float]) -> float:
    last = len(used_by) - 1
    if days <= last:
        return used_by[max(days, 0)]
    return used_by[last] * days / last if last else 0.0
