"""Everything on record about one lot: whom it reached, where it is now, and what of it is left in stock."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from pipeline.errors import NothingToDo
from pipeline.ingest.labels import lot_named, may_name
from pipeline.ingest.quarantine import listing
from pipeline.store.layout import Store
from pipeline.tracing.judge import Records, known_at, make
from pipeline.tracing.links import Place
from pipeline.tracing.rows import made, placed, rows
from pipeline.tracing.subject import Person

_TABLES = ("facts.part_spans", "facts.part_services")

_USES = """
    select
        changes.row_no, changes.site_id, changes.lot, changes.item_id, changes.part,
        coalesce(services.patient_key, changes.patient_key) as patient_key,
        coalesce(
            list(distinct services.unit_id order by services.unit_id) filter (where services.unit_id is not null),
            [spans.unit_id]
        ) as units,
        coalesce(
            list(distinct services.ward order by services.ward) filter (where services.ward is not null),
            [spans.ward]
        ) as wards,
        changes.fitted_at,
        min(greatest(services.started_at, changes.fitted_at)) as first_used_at,
        case when spans.ended_at is null and bool_or(services.ended_at is null) then null
            else least(max(services.until), coalesce(spans.ended_at, max(services.until))) end as last_used_at,
        spans.ended_at, spans.row_no is null as unplaced,
    from records.part_changes as changes
    left join facts.part_spans as spans using (row_no)
    left join facts.part_services as services using (row_no)
    where lower(changes.lot) = lower(trim($lot))
    group by changes.row_no, changes.site_id, changes.lot, changes.item_id, changes.part, changes.fitted_at,
        services.patient_key, changes.patient_key, spans.row_no, spans.unit_id, spans.ward, spans.ended_at
    order by changes.site_id, first_used_at nulls last, changes.fitted_at, changes.row_no, patient_key
"""

_ROWS = """
    select changes.row_no, rows.file_sha256, rows.source_row
    from records.part_changes as changes
    join settled.part_changes as rows
        on rows.site_id = changes.site_id
        and rows.part = changes.part
        and rows.fitted_at = changes.fitted_at
        and rows.lot = changes.lot
        and rows.unit_id is not distinct from changes.unit_id
    left join run.patient_merges as merges
        on rows.site_id = merges.site_id and rows.patient_key = merges.old_key
    where lower(changes.lot) = lower(trim($lot))
        and coalesce(merges.new_key, rows.patient_key) is not distinct from changes.patient_key
    order by all
"""

#: A count of the lot itself stands for all moves up to it.
_STOCK = """
    with moves as (
        select * from records.stock_moves where lower(lot) = lower(trim($lot))
    ),
    counted as (
        select site_id, item_id, max(moved_at) as counted_at from moves where kind = 'count' group by all
    )
    select
        moves.site_id, moves.item_id, min(moves.lot) as lot, max(moves.expires_on) as expires_on,
        coalesce(sum(quantity) filter (where kind = 'receipt'), 0) as received,
        coalesce(sum(quantity) filter (where kind = 'issue'), 0) as issued,
        coalesce(sum(quantity) filter (where kind = 'return'), 0) as returned,
        coalesce(sum(quantity) filter (where kind = 'write_off'), 0) as written_off,
        coalesce(sum(case
            when kind = 'count' and moved_at = counted_at then quantity
            when counted_at >= moved_at then 0
            when kind in ('receipt', 'return') then quantity
            when kind in ('issue', 'write_off') then -quantity
        end), 0) as left_over,
    from moves
    left join counted using (site_id, item_id)
    group by moves.site_id, moves.item_id
    order by all
"""

_PLACES = """
    with issued as (
        select site_id, location as ward,
            coalesce(sum(quantity) filter (where kind = 'issue'), 0) as issued,
            coalesce(sum(quantity) filter (where kind = 'return'), 0) as returned,
        from records.stock_moves
        where lower(lot) = lower(trim($lot)) and kind in ('issue', 'return') group by all
    ),
    fitted as (
        select site_id, ward, count(*) as fitted from facts.part_spans
        where lower(lot) = lower(trim($lot)) group by all
    )
    select
        site_id, coalesce(ward, '') as ward, coalesce(issued.issued, 0) as issued,
        coalesce(issued.returned, 0) as returned, coalesce(fitted.fitted, 0) as fitted,
    from issued full join fitted using (site_id, ward)
    order by all
"""


@dataclass(frozen=True)
class LotUse:
    """One fitting of the lot: on a patient it served, else on the one its record names, else on nobody.

    ``unplaced``: the record names no unit, and nobody it names was on one. ``last_used_at`` is empty while the
    use lasts.
    """

    site_id: str
    lot: str
    item_id: str | None
    part: str
    patient_key: str | None
    units: tuple[str, ...]
    wards: tuple[str, ...]
    fitted_at: datetime
    first_used_at: datetime | None
    last_used_at: datetime | None
    ended_at: datetime | None
    unplaced: bool
    rows: tuple[Place, ...]

    @property
    def is_on(self) -> bool:
        """Whether it is on a unit or a patient as far as the records go."""
        return self.ended_at is None and not self.unplaced


@dataclass(frozen=True)
class LotStock:
    """Pieces of the lot in one site's stock; ``remaining`` is empty when more left than ever came in."""

    site_id: str
    item_id: str
    lot: str
    expires_on: date | None
    received: float
    issued: float
    returned: float
    written_off: float
    remaining: float | None


@dataclass(frozen=True)
class LotPlace:
    """Pieces that a ward was issued and gave back, and those on record as fitted there."""

    site_id: str
    ward: str
    issued: float
    returned: float
    fitted: int

    @property
    def unaccounted(self) -> float:
        """Pieces that may lie on the ward's shelf; below 0 when more were fitted than issued to it."""
        return self.issued - self.returned - self.fitted


@dataclass(frozen=True)
class Recall:
    """The answer; ``quarantined`` counts rows that name the lot and were not accepted."""

    lot: str
    as_of: datetime
    zones: dict[str, ZoneInfo]
    uses: tuple[LotUse, ...]
    stock: tuple[LotStock, ...]
    places: tuple[LotPlace, ...]
    quarantined: int
    references: dict[Person, str] = field(default_factory=dict)

    @property
    def persons(self) -> set[Person]:
        """Every patient it reached, at each site."""
        return {(use.site_id, use.patient_key) for use in self.uses if use.patient_key}


def recall(store: Store, lot: str, site: str | None = None, as_of: datetime | None = None) -> Recall:
    """Return what is on record about a lot, compared without regard to case; NothingToDo when nothing is.

    A label is taken for the lot in it; raises UsageError where it has none that can be read.
    """
    lot = lot_named(lot)
    with known_at(store, as_of, site=site) as records:
        make(records, _TABLES)
        answer = Recall(
            lot=lot,
            as_of=records.as_of,
            zones={name: rules.zone for name, rules in records.sites.items()},
            uses=tuple(_uses(records, lot)),
            stock=tuple(_stock(records, lot)),
            places=tuple(made(LotPlace, row) for row in rows(records, _PLACES, lot=lot)),
            quarantined=_quarantined(store, lot),
        )
    if not (answer.uses or answer.stock or answer.quarantined):
        raise NothingToDo(f"No record names lot '{lot}'; check the spelling on the pack.")
    return answer


def _uses(records: Records, lot: str) -> list[LotUse]:
    places = placed(records, rows(records, _ROWS, lot=lot), "row_no")
    return [
        made(
            LotUse,
            row,
            units=_names(row["units"]),
            wards=_names(row["wards"]),
            rows=tuple(places[row["row_no"],]),
        )
        for row in rows(records, _USES, lot=lot)
    ]


def _stock(records: Records, lot: str) -> list[LotStock]:
    found = rows(records, _STOCK, lot=lot)
    return [
        made(LotStock, row, remaining=row["left_over"] if row["left_over"] >= 0 else None) for row in found
    ]


def _names(listed: list[str | None]) -> tuple[str, ...]:
    return tuple(name for name in listed if name)


def _quarantined(store: Store, lot: str) -> int:
    """Count the rows that name the lot, or hold it in a label that could not be read."""
    raws = listing(store)["raw"]
    return sum(may_name(str(json.loads(raw).get("lot") or ""), lot) for raw in raws if raw)
