"""Turnaround by ward, weekday and shift, where the hours between two patients go, and what the target would need."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.findings.model import Cell, Column, Figure, Table
from pipeline.findings.months import months_in_words
from pipeline.findings.source import Source
from pipeline.findings.wording import shown
from pipeline.signals.turnaround_breakdown import HoursPart, TurnaroundGroup, turnaround_breakdown

_KINDS = {
    "ward": "by ward",
    "weekday": "by the weekday on which the stay ended",
    "shift": "by the shift in which the stay ended",
}
_COLUMNS = (
    Column("Stays that ended"), Column("Period"), Column("Ended", "count"), Column("Disinfected", "count"),
    Column("Used again first", "count"), Column("Censored", "count"), Column("Not assessable", "count"),
    Column("Median", "hours"), Column("Low", "hours"), Column("High", "hours"),
    Column("Within target", "share"), Column("Within, low", "share"), Column("Within, high", "share"),
)  # fmt: skip


def breakdown(source: Source) -> tuple[str, tuple[Figure, ...], Table]:
    """Return what the target would need in words, a figure for each way to part the stays, and where the hours go."""
    found = turnaround_breakdown(source.published, source.site_id, source.month)
    period = months_in_words(found.months)
    need = found.need
    told = f"Over {period}: {need.sentence}"
    if need.past_target_h is not None:
        told += f" A unit stands unready past the target for {shown(need.past_target_h, 'hours')} a stay on average."
    figures = tuple(
        _parted([group for group in found.groups if group.kind == kind], kind, words, period)
        for kind, words in _KINDS.items()
    )
    return told, figures, _hours(found.hours, period)


def _parted(groups: Sequence[TurnaroundGroup], kind: str, words: str, period: str) -> Figure:
    rows = tuple(_group(group, period) for group in groups)
    key = f"turnaround-by-{kind}"
    table = Table(key, f"Turnaround {words}, {period}", _COLUMNS, rows)
    medians = [group.median_h for group in groups if group.median_h is not None]
    told = "too few stays" if not medians else f"half disinfected by {shown(min(medians), 'hours')}"
    spread = "" if len(medians) < 2 else f" to {shown(max(medians), 'hours')}"
    subtitle = f"Median hours until disinfected {words}, 95% limits (Aalen-Johansen), {period}"
    return Figure(
        key, "intervals_hours", f"{kind.capitalize()}: {told}{spread}", subtitle, table, size="third"
    )


def _group(group: TurnaroundGroup, period: str) -> tuple[Cell, ...]:
    return (
        group.name, period, group.ended, group.reprocessed, group.bypassed, group.censored, group.not_assessable,
        group.median_h, *group.median_limits_h, group.within, *(group.within_limits or (None, None)),
    )  # fmt: skip


def _hours(parts: Sequence[HoursPart], period: str) -> Table:
    columns = (
        Column("Hours spent"), Column("Stays", "count"), Column("Median", "hours"), Column("Low", "hours"),
        Column("High", "hours"), Column("In all", "hours"), Column("Share of all hours", "share"),
    )  # fmt: skip
    rows = tuple(
        (
            part.name,
            part.stays,
            part.median_h,
            *(part.median_limits_h or (None, None)),
            part.total_h,
            part.share,
        )
        for part in parts
    )
    return Table("hours-go", f"Where the hours between two patients go, {period}", columns, rows)
