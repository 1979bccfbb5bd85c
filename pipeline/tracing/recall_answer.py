"""A recall in sentences and tables, ready for a letter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pipeline.findings.model import Cell, Table
from pipeline.store.layout import quoted
from pipeline.tracing import words
from pipeline.tracing.answer import Answer, counted, local, named, rows_in_files, table
from pipeline.tracing.recall import LotUse, Recall

_USE_COLUMNS = (
    "Patient:key, Site, Wards, Units, Part, Item, Lot, Fitted:when, First used:when, Last used:when, Rows"
)
_FITTED_COLUMNS = "Site, Wards, Units, Part, Item, Lot, Fitted:when, Taken off:when, Rows"
_STOCK_COLUMNS = (
    "Site, Item, Lot, Expires, Received:count, Issued:count, Returned:count, Written off:count,"
    " Left in stock:count"
)
_PLACE_COLUMNS = "Site, Ward, Issued:count, Returned:count, Fitted:count, Not accounted for:count"


def recall_answer(found: Recall) -> Answer:
    """Return a recall as it is shown."""
    notes = [words.REVEALED] if found.references else []
    return Answer(
        stem=f"recall-{quoted(found.lot)}",
        title=f"Lot {found.lot}",
        scope=f"{', '.join(sorted(found.zones))}; records known at {found.as_of.isoformat()}Z.",
        sentences=tuple(_sentences(found)),
        notes=tuple(notes),
        tables=tuple(_tables(found)),
        cautions=words.CAUTIONS,
    )


def _used(found: Recall) -> list[LotUse]:
    return [use for use in found.uses if use.patient_key]


def _sentences(found: Recall) -> Iterator[str]:
    used = _used(found)
    units = {(use.site_id, unit) for use in used for unit in use.units}
    wards = {(use.site_id, ward) for use in used for ward in use.wards}
    yield (
        f"On record with {counted(len(found.persons), 'patient')}, on {counted(len(units), 'unit')}"
        f" of {counted(len(wards), 'ward')}."
    )
    if on := sum(use.is_on for use in found.uses):
        yield f"{counted(on, 'piece')} may still be on a unit or a patient."
    if unknown := [stock for stock in found.stock if stock.remaining is None]:
        sites = ", ".join(f"{stock.site_id} ({stock.item_id})" for stock in unknown)
        yield f"More left stock than is on record as received at {sites}, so what remains there must be counted."
    if found.quarantined:
        yield f"{counted(found.quarantined, 'row')} in quarantine name this lot and are in no figure here."


def _tables(found: Recall) -> Iterator[Table]:
    yield table(
        "patients", f"Patients. {words.CHECK}", _USE_COLUMNS, _use_rows(found, _used(found)),
        "No patient is on record with this lot. That clears nobody.",
    )  # fmt: skip
    unused = [use for use in found.uses if not use.patient_key]
    yield table(
        "fitted", "Fitted, with no patient on record", _FITTED_COLUMNS, _fitted_rows(found, unused),
        "Every fitting on record served a patient.",
    )  # fmt: skip
    yield table(
        "stock",
        "Stock, by the moves that name the lot",
        _STOCK_COLUMNS,
        _stock_rows(found),
        "No move names it.",
    )
    yield table(
        "wards", "Pieces by ward", _PLACE_COLUMNS, _place_rows(found), "Nothing was issued or fitted."
    )


def _use_rows(found: Recall, uses: Iterable[LotUse]) -> Iterator[tuple[Cell, ...]]:
    for use in uses:
        zone = found.zones[use.site_id]
        yield (
            named((use.site_id, use.patient_key or ""), found.references), use.site_id, ", ".join(use.wards),
            ", ".join(use.units), use.part.replace("_", " "), use.item_id or "", use.lot,
            local(use.fitted_at, zone), local(use.first_used_at, zone), local(use.last_used_at, zone, "still on"),
            rows_in_files(use.rows),
        )  # fmt: skip


def _fitted_rows(found: Recall, uses: Iterable[LotUse]) -> Iterator[tuple[Cell, ...]]:
    for use in uses:
        zone = found.zones[use.site_id]
        ended = "place unknown" if use.unplaced else local(use.ended_at, zone, "still on")
        yield (
            use.site_id, ", ".join(use.wards), ", ".join(use.units), use.part.replace("_", " "), use.item_id or "",
            use.lot, local(use.fitted_at, zone), ended, rows_in_files(use.rows),
        )  # fmt: skip


def _stock_rows(found: Recall) -> Iterator[tuple[Cell, ...]]:
    for stock in found.stock:
        yield (
            stock.site_id, stock.item_id, stock.lot, stock.expires_on.isoformat() if stock.expires_on else "",
            stock.received, stock.issued, stock.returned, stock.written_off,
            "must be counted" if stock.remaining is None else stock.remaining,
        )  # fmt: skip


def _place_rows(found: Recall) -> Iterator[tuple[Cell, ...]]:
    for place in found.places:
        yield place.site_id, place.ward, place.issued, place.returned, place.fitted, place.unaccounted
