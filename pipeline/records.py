"""The canonical input tables (contract section 2), said once: columns, kinds, keys, meaning of empty."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

INSTANT, DATE = "instant", "date"

#: The kinds of a column, in words for whoever makes an export.
KINDS = {
    "id": "an identifier: text, and never a number; upper and lower case are the same",
    "text": "text",
    "patient": "a patient reference; only a key that stands for it is stored",
    INSTANT: "an instant in ISO 8601; without an offset it is on the site's clock",
    DATE: "a calendar day of the site",
    "number": "a number",
    "whole": "a whole number",
    "flag": "true or false",
    "code": "one of a list of words",
}
#: The units that columns are in, by how their names end.
UNITS = {
    "_l_min": "litres per minute",
    "_c": "degrees Celsius",
    "_ml": "millilitres",
    "_pct": "percent",
    "_days": "days",
}


@dataclass(frozen=True)
class Column:
    """One column. ``low`` and ``high`` bound it, inclusive; outside them a required value is quarantined.

    ``kind`` is one of `KINDS`; ``note`` says what neither kind nor name do.
    """

    name: str
    kind: str
    required: bool = True
    codes: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    note: str = ""

    @property
    def meaning(self) -> str:
        """The column in words.

        >>> Column("flow_l_min", "number").meaning
        'a number, in litres per minute'
        """
        unit = next((words for ending, words in UNITS.items() if self.name.endswith(ending)), "")
        return KINDS[self.kind] + (f", in {unit}" if unit else "") + (f"; {self.note}" if self.note else "")


@dataclass(frozen=True)
class Table:
    """One input table. ``time`` places a row in a month; ``ended`` may not lie before it."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    time: str | None = None
    ended: str | None = None
    meaning: str = ""
    _by_name: dict[str, Column] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index the columns by name."""
        self._by_name.update({column.name: column for column in self.columns})

    def column(self, name: str) -> Column:
        """Return the column of that name; KeyError when there is none."""
        return self._by_name[name]

    @property
    def names(self) -> tuple[str, ...]:
        """The columns' names, in the order of the canonical layout."""
        return tuple(column.name for column in self.columns)


def _id(name: str) -> Column:
    return Column(name, "id")


def _instant(name: str) -> Column:
    return Column(name, INSTANT)


def _maybe(column: Column) -> Column:
    return replace(column, required=False)


def _number(name: str, low: float | None = None, high: float | None = None) -> Column:
    return Column(name, "number", low=low, high=high)


def _code(name: str, *codes: str) -> Column:
    return Column(name, "code", codes=codes)


_PATIENT = Column("patient_ref", "patient")
_COUNT = Column("cycle_count", "whole", low=0)
_LOT = (
    Column("lot", "id", required=False, note="as printed, or the pack's whole GS1 label"),
    _maybe(Column("expires_on", DATE)),
)
_SOURCE_REF = Column(
    "source_ref", "id", required=False, note="the record's own number, the key where it is given"
)

#: Columns that any file may carry besides those of its table.
COMMON = (
    Column("site_id", "id", required=False, note="the site that the row belongs to"),
    Column("exported_at", INSTANT, required=False, note="when the export was made; nothing in it is later"),
)

#: Parts every site has; a site adds more in its rules.
PARTS = ("circuit", "interface", "water_bag")

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        Table(
            "units",
            (
                _id("unit_id"),
                _maybe(_id("ward")),
                _maybe(Column("in_service_on", DATE)),
                _maybe(Column("retired_on", DATE)),
            ),
            key=("unit_id",),
            meaning="The site's units.",
        ),
        Table(
            "unit_status",
            (
                _id("unit_id"),
                _instant("started_at"),
                _maybe(_instant("ended_at")),
                _code("status", "repair", "loan", "held"),
                _SOURCE_REF,
            ),
            key=("unit_id", "started_at"),
            time="started_at",
            ended="ended_at",
            meaning="Times in which a unit was out of the pool.",
        ),
        Table(
            "usage_samples",
            (
                _id("unit_id"),
                _instant("sampled_at"),
                _number("flow_l_min", 0, 100),
                _maybe(_number("dew_point_c", 0, 50)),
                _maybe(_number("oxygen_pct", 20, 100)),
                _code("phase", "off", "heating", "standby", "in_use", "reprocessing"),
                _maybe(_number("set_dew_point_c", 0, 50)),
                _SOURCE_REF,
            ),
            key=("unit_id", "sampled_at"),
            time="sampled_at",
            meaning="What a unit logged of itself.",
        ),
        Table(
            "usage_sessions",
            (
                _id("unit_id"),
                _instant("started_at"),
                _instant("ended_at"),
                _number("mean_flow_l_min", 0, 100),
                _maybe(_number("mean_dew_point_c", 0, 50)),
                _SOURCE_REF,
            ),
            key=("unit_id", "started_at"),
            time="started_at",
            ended="ended_at",
            meaning="Therapy as a unit summed it up, where it logs no samples.",
        ),
        Table(
            "episodes",
            (
                _PATIENT,
                _id("unit_id"),
                _id("ward"),
                _instant("started_at"),
                _maybe(_instant("ended_at")),
                _SOURCE_REF,
            ),
            key=("patient_ref", "unit_id", "started_at"),
            time="started_at",
            ended="ended_at",
            meaning="One patient's time on one unit.",
        ),
        Table(
            "patient_merges",
            (Column("old_ref", "patient"), Column("new_ref", "patient"), _maybe(_instant("merged_at"))),
            key=("old_ref",),
            meaning="Two references that turned out to be one person.",
        ),
        Table(
            "part_changes",
            (
                _maybe(_id("unit_id")),
                _maybe(_PATIENT),
                _code("part", *PARTS),
                _instant("fitted_at"),
                _maybe(_instant("removed_at")),
                *_LOT,
                _maybe(_number("volume_ml", 1, 10000)),
                _maybe(_id("item_id")),
                _maybe(_code("reason", "due", "new_patient", "soiled", "faulty")),
                _SOURCE_REF,
            ),
            key=("unit_id", "patient_ref", "part", "fitted_at"),
            time="fitted_at",
            ended="removed_at",
            meaning="One row per disposable fitted. The key is the unit, or the patient where no unit is given.",
        ),
        Table(
            "disinfections",
            (
                _id("unit_id"),
                _maybe(_id("cycle_ref")),
                _instant("started_at"),
                _maybe(_instant("ended_at")),
                _code("outcome", "passed", "failed", "interrupted"),
                _maybe(_COUNT),
                _maybe(Column("storage_protected", "flag")),
                _maybe(Column("status_tagged", "flag")),
                _SOURCE_REF,
            ),
            key=("unit_id", "started_at"),
            time="started_at",
            ended="ended_at",
            meaning="One row per disinfection cycle.",
        ),
        Table(
            "cycle_temperatures",
            (_id("unit_id"), _instant("measured_at"), _number("temperature_c", 0, 140), _SOURCE_REF),
            key=("unit_id", "measured_at"),
            time="measured_at",
            meaning="Temperatures read during disinfection cycles.",
        ),
        Table(
            "count_readings",
            (_id("unit_id"), _instant("read_at"), _COUNT, _SOURCE_REF),
            key=("unit_id", "read_at"),
            time="read_at",
            meaning="Readings of a unit's own count of its cycles.",
        ),
        Table(
            "setup_checks",
            (
                _id("unit_id"),
                _maybe(_PATIENT),
                _instant("checked_at"),
                _id("step"),
                _code("result", "done", "not_done", "failed"),
                _SOURCE_REF,
            ),
            key=("unit_id", "checked_at", "step"),
            time="checked_at",
            meaning="Steps of setting a unit up, as the site's own list has them.",
        ),
        Table(
            "items",
            (
                _id("item_id"),
                _code("part", *PARTS),
                _number("pack_size", 1),
                _number("unit_price", 0),
                _number("lead_time_days", 0),
                _maybe(_number("lead_time_sd_days", 0)),
                _maybe(_number("shelf_life_days", 0)),
                _maybe(_number("min_order_packs", 0)),
            ),
            key=("item_id",),
            meaning="What purchasing can order; the price is per pack, before tax.",
        ),
        Table(
            "stock_moves",
            (
                _id("move_ref"),
                _id("item_id"),
                _instant("moved_at"),
                _code("kind", "ordered", "receipt", "issue", "return", "write_off", "count"),
                _number("quantity"),
                _maybe(_id("location")),
                *_LOT,
                _SOURCE_REF,
            ),
            key=("move_ref",),
            time="moved_at",
            meaning="Movements and counts of stock, in single pieces.",
        ),
        Table(
            "ward_census",
            (_id("ward"), Column("counted_on", DATE), Column("patients", "whole", low=0), _SOURCE_REF),
            key=("ward", "counted_on"),
            time="counted_on",
            meaning="Patients on a ward at the daily count.",
        ),
    )
}


def stored_name(column: Column) -> str:
    """Return a column's name in the store, where a patient reference stands as its key.

    >>> stored_name(Column("patient_ref", "patient")), stored_name(Column("ward", "id"))
    ('patient_key', 'ward')
    """
    return column.name.removesuffix("_ref") + "_key" if column.kind == "patient" else column.name
