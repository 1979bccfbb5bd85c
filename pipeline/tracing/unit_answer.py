"""A unit's history in sentences and tables."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

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
from pipeline.tracing.life_line import STATES
from pipeline.tracing.unit_history import CountCheck, UnitHistory

_DAY = timedelta(days=1)
_VERDICTS = {
    "agrees": "agrees",
    "unrecorded": "more counted than recorded",
    "uncounted": "more recorded than counted",
    "rollback": "the count went down",
    "likely_misread": "a reading is likely misread",
    "not_assessable": "cycles of this time were not exported",
}
_OUTCOMES = {
    "unused": "not used",
    "overrun": "past its limit",
    "within_limit": "within its limit",
    "not_assessable": "cannot be judged",
    "undecided": "still on",
}


def unit_answer(found: UnitHistory) -> Answer:
    """Return a unit's history as it is shown."""
    return Answer(
        stem=f"unit-{quoted(found.site_id)}-{quoted(found.unit_id)}",
        title=f"Unit {found.unit_id}",
        scope=f"{found.site_id}; records known at {found.as_of.isoformat()}Z. {_register(found)}",
        sentences=tuple(_sentences(found)),
        notes=(words.REVEALED,) if found.references else (),
        tables=tuple(_tables(found)),
        cautions=words.CAUTIONS,
    )


def _register(found: UnitHistory) -> str:
    told = [f"Ward {found.ward}" if found.ward else "No ward on record"]
    told += [f"in service since {found.in_service_on}"] if found.in_service_on else []
    told += [f"retired on {found.retired_on}"] if found.retired_on else []
    return f"{', '.join(told)}."


def _sentences(found: UnitHistory) -> Iterator[str]:
    patients = {stay.person for stay, _ in found.steps}
    yield (
        f"{counted(len(found.steps), 'stay')} of {counted(len(patients), 'patient')},"
        f" {counted(len(found.cycles), 'cycle')} ({sum(cycle.valid for cycle in found.cycles)} valid)."
    )
    spent = {
        state: sum((s.ended_at - s.started_at for s in found.line if s.state == state), timedelta())
        for state in STATES
    }
    total = sum(spent.values(), timedelta())
    told = [f"{STATES[state]} {time / _DAY:.1f}" for state, time in spent.items() if time]
    yield f"Of {total / _DAY:.1f} days: {', '.join(told)}."


def _tables(found: UnitHistory) -> Iterator[Table]:
    zone = found.zone
    remarks = ((local(remark.at, zone), remark.words) for remark in found.remarks)
    yield table(
        "remarks", "What stands out", "When:when, What", remarks, "Nothing stands out in what is on record."
    )
    yield table(
        "patients", f"Patients. {words.CHECK}",
        "Patient:key, Ward, From:when, Until:when, Since the patient before, Rows",
        _stay_rows(found), "No patient is on record.",
    )  # fmt: skip
    yield table(
        "cycles", "Disinfection cycles", CYCLE_COLUMNS, (cycle_cells(cycle, zone) for cycle in found.cycles),
        "No cycle is on record.", folded=True,
    )  # fmt: skip
    yield table(
        "counts", "Counts against records", "From:when, To:when, Count before:count, Count after:count, Counted:count,"
        " Recorded:count, Reading",
        (_count_row(found, check) for check in found.counts if check.verdict != "agrees"),
        "Every count agrees with the records." if found.counts else "No counts are on record.",
    )  # fmt: skip
    yield table(
        "parts", "Parts", "Part, Lot, Patient:key, Fitted:when, Taken off:when, Limit:when, Reading", _part_rows(found),
        "No part is on record.", folded=True,
    )  # fmt: skip


def _stay_rows(found: UnitHistory) -> Iterator[tuple[Cell, ...]]:
    for stay, changeover in found.steps:
        yield (
            named(stay.person, found.references), stay.ward, local(stay.started_at, found.zone),
            local(stay.ended_at, found.zone, "still on"),
            words.PROOFS[changeover.proof] if changeover else "first on record", rows_in_files(stay.rows),
        )  # fmt: skip


def _count_row(found: UnitHistory, check: CountCheck) -> tuple[Cell, ...]:
    return (
        local(check.from_at, found.zone), local(check.to_at, found.zone), check.from_count, check.to_count,
        check.counted, check.expected, _VERDICTS[check.verdict],
    )  # fmt: skip


def _part_rows(found: UnitHistory) -> Iterator[tuple[Cell, ...]]:
    for part in found.parts:
        patient = named((found.site_id, part.patient_key), found.references) if part.patient_key else ""
        yield (
            part.part.replace("_", " "), part.lot or "", patient, local(part.fitted_at, found.zone),
            local(part.ended_at, found.zone, "still on"), local(part.limit_at, found.zone), _OUTCOMES[part.outcome],
        )  # fmt: skip
