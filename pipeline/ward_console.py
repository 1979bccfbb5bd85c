"""What status, worklist, editions and explanations look like on a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import click
from rich.console import Console
from rich.table import Table

from pipeline.console import say
from pipeline.corrections import Correction, in_words
from pipeline.editions import Edition
from pipeline.findings.cautions import CAUTIONS, PSEUDONYMS
from pipeline.findings.wording import part_words, shown
from pipeline.status import SourceMonth, Status
from pipeline.store.ledger import ALWAYS
from pipeline.worklist import KINDS, DataAge, Worklist

#: Months that a terminal has room for; --json has all.
SHOWN_MONTHS = 6


def show_status(found: Status) -> None:
    """Print rows by source and month, then what is missing, quiet or held."""
    months = sorted({item.month for source in found.sources for item in source.months} - {ALWAYS})[
        -SHOWN_MONTHS:
    ]
    table = Table("site", "table", "files", "first", "last", *months, box=None)
    for source in found.sources:
        by_month = {item.month: item for item in source.months}
        cells = [_cell(by_month.get(month)) for month in months]
        ends = [(end or "")[:10] for end in (source.first_at, source.last_at)]
        table.add_row(source.site_id, source.table, str(source.files), *ends, *cells)
    Console(highlight=False, no_color=True).print(table)
    say("A month without rows: '-' not covered, 'declared' by the rules, 'MISSING' although expected.")
    measured = f"{found.as_of:%Y-%m-%d %H:%M} UTC (run {found.run_id})" if found.as_of else "not yet"
    say(f"Last ingest: {found.last_ingest_at or 'not known'}. Measured as of: {measured}.")
    say(f"Held by {found.holder}." if found.holder else "No run holds the store.")
    for month in sorted(found.gate)[-SHOWN_MONTHS:]:
        say(f"Quality gate, {month}: {'stops' if found.gate[month] else 'passes'}.")
        for fault in found.gate[month]:
            say(f"  {fault}")
    for quiet in found.quiet:
        say(f"Quiet: {quiet.words}")


def show_corrections(found: tuple[Correction, ...]) -> None:
    """Print one line for each row that a later export changed."""
    for line in in_words(found):
        click.echo(line)
    if not found:
        say("No export has changed what an earlier one says.")


def _cell(item: SourceMonth | None) -> str:
    if item is None:
        return "-"
    if item.rows:
        return str(item.rows)
    return "MISSING" if item.missing else "declared" if item.declared else "0" if item.covered else "-"


def show_worklist(found: Worklist) -> None:
    """Print how old the data are, then the rows, most urgent first."""
    for age in found.ages:
        say(age_in_words(age))
    for source in found.quiet:
        if not found.age_of(source.site_id).is_stale:
            say(f"Quiet: {source.words}")
    zones = {age.site_id: ZoneInfo(age.time_zone) for age in found.ages}
    table = Table(
        "site", "ward", "unit", "part", "what", "patient", "due", "since", box=None, padding=(0, 2, 0, 0)
    )
    for task in found.tasks:
        table.add_row(
            task.site_id,
            task.ward or "-",
            task.unit_id,
            part_words(task.part or "-"),
            KINDS[task.kind],
            (task.patient_key or "-")[:8],
            f"{_local(task.due_at, zones[task.site_id]):%d %b %H:%M}",
            shown(task.since_h, "hours"),
        )
    Console(highlight=False, no_color=True).print(table)
    stale = ", from STALE data" if any(age.is_stale for age in found.ages) else ""
    say(f"{len(found.tasks)} to see to as of {found.as_of:%Y-%m-%d %H:%M} UTC{stale}.")
    say("What is not listed is not cleared; infection-prevention and licensed staff decide.")


def worklist_document(found: Worklist) -> dict[str, Any]:
    """Return the worklist for a JSON document: instants as ISO 8601 in UTC, stale data said to be so."""
    return {
        "as_of": _instant(found.as_of),
        "stale": any(age.is_stale for age in found.ages),
        "data": [
            {
                "site_id": age.site_id,
                "latest_at": _instant(age.latest_at),
                "age_h": age.age_h,
                "stale": age.is_stale,
                "words": age_in_words(age),
            }
            for age in found.ages
        ],
        "quiet": [
            {**asdict(source), "last_at": _instant(source.last_at), "words": source.words}
            for source in found.quiet
        ],
        "tasks": [{**asdict(task), "due_at": _instant(task.due_at)} for task in found.tasks],
        "cautions": [*CAUTIONS, PSEUDONYMS],
    }


def age_in_words(age: DataAge) -> str:
    """Say how old a site's data are, and plainly when that is too old."""
    if age.latest_at is None or age.age_h is None:
        return f"STALE: {age.site_id} has no record up to then."
    told = f"the latest record is of {shown(age.latest_at, 'instant', ZoneInfo(age.time_zone))}"
    if age.is_stale:
        return f"STALE: {age.site_id}: {told}, {age.age_h:.0f} h old; bring in the newest exports first."
    return f"{age.site_id}: {told}, {age.age_h:.1f} h old."


def show_files(paths: Sequence[Path]) -> None:
    """Print where files were written."""
    for path in paths:
        click.echo(path)


def _local(value: datetime, zone: ZoneInfo) -> datetime:
    return value.replace(tzinfo=UTC).astimezone(zone)


def _instant(value: datetime | None) -> str | None:
    return f"{value.isoformat()}Z" if value else None


def show_editions(found: Sequence[Edition]) -> None:
    """Print one line per edition."""
    for edition in found:
        changed = f", {edition.changes} values changed since the one before" if edition.number > 1 else ""
        poor = ", in spite of the quality gate" if edition.poor_data else ""
        struck_out = ", a patient struck out since" if edition.struck_out else ""
        click.echo(
            f"{edition.month} edition {edition.number}: closed {edition.closed_at}, as of {edition.as_of}"
            f"{changed}{poor}{struck_out}"
        )
    if not found:
        say("No month has been closed yet.")
