"""How far a section's figures can be trusted: what cannot be assessed, and what other slacks would change."""

from __future__ import annotations

from pipeline.findings.model import Cell, Column, Table
from pipeline.findings.naming import kind_of
from pipeline.findings.source import Source
from pipeline.signals.sensitivity import SCENARIOS

_NAMES = (
    "Measure",
    "What cannot be assessed, over 12 months",
    "Every slack at 0, over all months",
    "Every slack doubled, over all months",
)


def trust(source: Source, section: str) -> tuple[Table, ...]:
    """Return the bounds and the sensitivity of a section's measures, no table where neither is known."""
    measures = sorted({*source.assessed, *(measure for measure, _ in source.slacks)})
    rows = tuple(_row(source, measure) for measure in measures if kind_of(measure).section == section)
    columns = (Column(_NAMES[0]), *(Column(name, "words") for name in _NAMES[1:]))
    return (Table(f"trust-{section}", "How far these figures can be trusted", columns, rows),) if rows else ()


def _row(source: Source, measure: str) -> tuple[Cell, ...]:
    assessed = source.assessed.get(measure)
    slacks = (source.slacks.get((measure, scenario)) for scenario in SCENARIOS)
    told = (item.sentence if item else None for item in (assessed, *slacks))
    return (kind_of(measure).subject, *told)
