"""A trace in sentences and tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from pipeline.findings.model import Cell, Table
from pipeline.store.layout import quoted
from pipeline.tracing import words
from pipeline.tracing.answer import (
    CYCLE_COLUMNS,
    Answer,
    counted,
    cycle_cells,
    local,
    named,
    rows_in_files,
    table,
)
from pipeline.tracing.links import EARLIER, LATER, Changeover, Link, Stay
from pipeline.tracing.trace import Question, Trace, patients

_LINK_COLUMNS = (
    "Patient:key, How, Site, Unit, Ward, On the unit from:when, Until:when, Next to:key, Who was on it from:when,"
    " On record between, Changeovers:count, Rows"
)
_STAY_COLUMNS = "Patient:key, Site, Unit, Ward, On the unit from:when, Until:when, In the records, Rows"
_USE_COLUMNS = "Site, Unit, Logged from:when, Until:when, Minutes:count, Rows"


def trace_answer(found: Trace, question: Question) -> Answer:
    """Return a trace as it is shown; its files are named for what was asked, a patient by the key's beginning."""
    name = found.stays[0].patient_key[:8] if question.kind == "patient" else question.text.strip()
    sites = sorted({stay.site_id for stay in found.stays})
    return Answer(
        stem=f"trace-{question.kind}-{quoted(name)}",
        title=f"Trace of {found.asked}",
        scope=f"{', '.join(sites)}; records known at {found.as_of.isoformat()}Z.",
        sentences=tuple(_sentences(found)),
        notes=tuple(_notes(found)),
        tables=tuple(_tables(found)),
        cautions=words.CAUTIONS,
    )


def _sentences(found: Trace) -> Iterator[str]:
    later, earlier = found.linked(LATER), found.linked(EARLIER)
    units = len({(link.met.site_id, link.met.unit_id) for link in (*later, *earlier)})
    if later or earlier:
        yield (
            f"{counted(found.patients_linked, 'patient')} linked on {counted(units, 'unit')}:"
            f" {patients(later)} came after, {patients(earlier)} before, with no valid disinfection known between."
        )
        if found.exposure:
            yield _window(found, *found.exposure)
    else:
        yield "No link is on record. That clears neither a unit nor a patient."
    if found.unjudged:
        yield f"{counted(found.patients_unjudged, 'more patient')} can be neither linked nor cleared."
    on = len({(stay.site_id, stay.unit_id) for stay in found.stays})
    yield f"Asked about: {counted(len(found.stays), 'stay')} on {counted(on, 'unit')}."


def _window(found: Trace, first: Stay, last: Stay) -> str:
    begins = local(first.started_at, found.zones[first.site_id])
    return f"The window of exposure: {begins} to {local(last.ended_at, found.zones[last.site_id], 'now (still on)')}."


def _notes(found: Trace) -> Iterator[str]:
    if found.judged_otherwise:
        yield "Judged otherwise than the site's rules do, for this answer only; nothing of it is stored."
        yield from found.judged_otherwise
    if found.references:
        yield words.REVEALED


def _tables(found: Trace) -> Iterator[Table]:
    linked = [link for link in found.links if link.is_judged]
    empty = "No link is on record. That clears neither a unit nor a patient."
    yield table("linked", f"Linked. {words.CHECK}", _LINK_COLUMNS, _link_rows(found, linked), empty)
    yield table(
        "not_judged", f"Cannot be judged. {words.CHECK}", _LINK_COLUMNS, _link_rows(found, found.unjudged),
        "Nothing was left open.",
    )  # fmt: skip
    yield table("asked", "The stays asked about", _STAY_COLUMNS, _stay_rows(found), "None.", folded=True)
    changeovers = _changeovers(found)
    yield table(
        "cycles", "Disinfection cycles considered", f"Site, Unit, {CYCLE_COLUMNS}", _cycle_rows(found, changeovers),
        "No cycle is on record between them.", folded=True,
    )  # fmt: skip
    if any(changeover.logged_use for _, changeover in changeovers):
        yield table(
            "logged_use", "Use with nobody on record", _USE_COLUMNS, _use_rows(found, changeovers), "None."
        )


def _link_rows(found: Trace, links: Iterable[Link]) -> Iterator[tuple[Cell, ...]]:
    for link in links:
        met, zone = link.met, found.zones[link.met.site_id]
        yield (
            named(met.person, found.references), words.DIRECTIONS[link.direction], met.site_id, met.unit_id, met.ward,
            local(met.started_at, zone), local(met.ended_at, zone, "still on"),
            named(link.asked.person, found.references), local(link.asked.started_at, zone),
            words.proofs(link.proofs), len(link.across), rows_in_files((*met.rows, *link.asked.rows)),
        )  # fmt: skip


def _stay_rows(found: Trace) -> Iterator[tuple[Cell, ...]]:
    for stay in found.stays:
        zone = found.zones[stay.site_id]
        yield (
            named(stay.person, found.references), stay.site_id, stay.unit_id, stay.ward,
            local(stay.started_at, zone), local(stay.ended_at, zone, "still on"),
            "overlaps another patient's" if stay.overlapping else "", rows_in_files(stay.rows),
        )  # fmt: skip


def _changeovers(found: Trace) -> list[tuple[Stay, Changeover]]:
    """Return every changeover that a link crosses, and those that ended a list, once each."""
    return [(stay, changeover) for stay, changeover in found.context if changeover is not None]


def _cycle_rows(found: Trace, changeovers: Sequence[tuple[Stay, Changeover]]) -> Iterator[tuple[Cell, ...]]:
    seen = {
        (stay.site_id, stay.unit_id, cycle) for stay, changeover in changeovers for cycle in changeover.cycles
    }
    for site, unit, cycle in sorted(seen, key=lambda item: (*item[:2], item[2].started_at)):
        yield site, unit, *cycle_cells(cycle, found.zones[site])


def _use_rows(found: Trace, changeovers: Sequence[tuple[Stay, Changeover]]) -> Iterator[tuple[Cell, ...]]:
    for stay, changeover in changeovers:
        if use := changeover.logged_use:
            zone = found.zones[stay.site_id]
            rows = "; ".join(f"{low.file}, rows {low.row} to {high.row}" for low, high in use.rows)
            span = local(use.started_at, zone), local(use.ended_at, zone)
            yield stay.site_id, stay.unit_id, *span, use.minutes, rows
