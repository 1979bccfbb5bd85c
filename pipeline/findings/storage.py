"""The section on how units were kept after disinfection: protected or not, tagged or not, by place and by unit."""

from __future__ import annotations

import polars as pl

from pipeline.findings.figures import interval_table, section_of
from pipeline.findings.model import INFECTION_CONTROL, Figure, Section
from pipeline.findings.source import NO_WARD, Source, as_table
from pipeline.findings.wording import counted

_TABLE = "storage_by_unit"
_COUNTED = {
    "cycles": ("Passed cycles", "count"),
    "protected": ("Protected", "count"),
    "not_protected": ("Not protected", "count"),
    "protection_unknown": ("Protection not recorded", "count"),
    "tagged": ("Tagged", "count"),
    "not_tagged": ("Not tagged", "count"),
    "tag_unknown": ("Tag not recorded", "count"),
}
_PLACE = {"place": ("Place", "text")}


def storage(source: Source) -> Section:
    """Return what the records say of storage and tag after each passed cycle, by place with the units behind it."""
    units = (
        source.facts(_TABLE)
        .filter(month=source.month)
        .with_columns(pl.col("place").fill_null(NO_WARD))
        .sort("place", "unit_id")
    )
    places = units.group_by("place").agg(pl.col(*_COUNTED).sum()).sort("place")
    by_place, by_unit = (
        f"Storage and status tag by {word}, {source.month_words}" for word in ("place", "unit")
    )
    empty = "No passed cycle is on record."
    tables = (
        as_table(places, "storage-places", by_place, _PLACE | _COUNTED, empty),
        as_table(
            units,
            "storage-units",
            by_unit,
            _PLACE | {"unit_id": ("Unit", "unit")} | _COUNTED,
            empty,
            folded=True,
        ),
    )
    figures = (
        _stated(source, places, "protected", "stored protected"),
        _stated(source, places, "tagged", "tagged"),
    )  # fmt: skip
    return section_of(
        source, "storage", _TABLE, INFECTION_CONTROL, figures=figures if places.height else (), tables=tables
    )


def _stated(source: Source, places: pl.DataFrame, name: str, words: str) -> Figure:
    """Return how often the records say yes, of the cycles of which they say yes or no."""
    counts = places.select("place", name, of=pl.col(name) + pl.col(f"not_{name}")).rows()
    rows = [(place, source.month_words, yes, of) for place, yes, of in counts]
    missed = sum(of - yes for *_, yes, of in rows)
    unknown = places["cycles"].sum() - sum(of for *_, of in rows)
    title = f"Not {words}: {counted(missed, 'passed cycle')}; not recorded of {counted(unknown, 'cycle')}"
    period = f"with 95% intervals, {source.month_words}"
    subtitle = f"{words.capitalize()}, % of passed cycles of which it is recorded, {period}"
    key = f"storage-{name}"
    return Figure(key, "intervals", title, subtitle, interval_table(key, f"Units {words}", "Place", rows))
