"""Answers as plain values for JSON: instants in UTC with Z, keys as they are stored."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.tracing import words
from pipeline.tracing.links import Link
from pipeline.tracing.recall import Recall
from pipeline.tracing.subject import Person
from pipeline.tracing.trace import Trace
from pipeline.tracing.unit_history import UnitHistory


def trace_document(found: Trace) -> dict[str, Any]:
    """Return a trace."""
    return {
        "asked": found.asked,
        **plain({"as_of": found.as_of, "judged_otherwise": found.judged_otherwise}),
        "patients_linked": found.patients_linked,
        "patients_not_judged": found.patients_unjudged,
        "exposure": _exposure(found),
        "stays": plain(found.stays),
        "links": [_link(link) for link in found.links],
        "references": _references(found.references),
        "cautions": list(words.CAUTIONS),
    }


def _exposure(found: Trace) -> dict[str, Any] | None:
    if not found.exposure:
        return None
    first, last = found.exposure
    return {"from": plain(first.started_at), "until": plain(last.ended_at)}


def recall_document(found: Recall) -> dict[str, Any]:
    """Return a recall."""
    said = plain(found)
    uses = [{**use, "on": told.is_on} for use, told in zip(said["uses"], found.uses, strict=True)]
    places = [
        {**place, "unaccounted": told.unaccounted}
        for place, told in zip(said["places"], found.places, strict=True)
    ]
    return {
        **said,
        "uses": uses,
        "places": places,
        "patients": len(found.persons),
        "references": _references(found.references),
        "cautions": list(words.CAUTIONS),
    }


def units_document(found: list[UnitHistory]) -> dict[str, Any]:
    """Return the histories of units."""
    units = [{**plain(one), "references": _references(one.references)} for one in found]
    return {"units": units, "cautions": list(words.CAUTIONS)}


def plain(value: Any) -> Any:
    """Return a value as JSON has it.

    >>> plain((datetime(2026, 10, 1, 8), ZoneInfo("Europe/Dublin"), {("T", "k"): "r"}))
    ['2026-10-01T08:00:00Z', 'Europe/Dublin', {}]
    """
    if dataclasses.is_dataclass(value):
        return {item.name: plain(getattr(value, item.name)) for item in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items() if isinstance(key, str)}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, datetime):
        return f"{value.isoformat()}Z"
    return str(value) if isinstance(value, date | ZoneInfo) else value


def _link(link: Link) -> dict[str, Any]:
    facts = {"direction": link.direction, "judged": link.is_judged, "proofs": list(link.proofs)}
    return {**facts, "asked": plain(link.asked), "met": plain(link.met), "across": plain(link.across)}


def _references(references: Mapping[Person, str]) -> list[dict[str, str]]:
    return [
        {"site_id": site, "patient_key": key, "patient_ref": reference}
        for (site, key), reference in sorted(references.items())
    ]
