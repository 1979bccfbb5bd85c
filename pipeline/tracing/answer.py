"""An answer as it is shown: sentences, notes and tables; page, workbook, files and terminal only format it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from pipeline.findings.model import Cell, Column, Table
from pipeline.tracing import words
from pipeline.tracing.links import Cycle, Place
from pipeline.tracing.subject import Person

CYCLE_COLUMNS = "Started:when, Ended:when, Outcome, Counts, Why not, A0 in s:count, Number, Rows"


@dataclass(frozen=True)
class Answer:
    """One answer. ``stem`` names its files; ``notes`` say what sets it apart from the published measures."""

    stem: str
    title: str
    scope: str
    sentences: tuple[str, ...]
    notes: tuple[str, ...]
    tables: tuple[Table, ...]
    cautions: tuple[str, ...]


def table(
    key: str,
    caption: str,
    columns: str,
    rows: Iterable[tuple[Cell, ...]],
    when_empty: str,
    *,
    folded: bool = False,
) -> Table:
    """Return a table; ``columns`` are names between commas, with their kind after a colon where it is no text.

    >>> table("a", "A", "Unit, Hours:hours", [("U1", 2.0)], "").columns[1]
    Column(name='Hours', kind='hours')
    """
    named = [part.strip().partition(":") for part in columns.split(",")]
    told = tuple(Column(name, kind or "text") for name, _, kind in named)
    return Table(key, caption, told, tuple(rows), when_empty, folded)


def local(instant: datetime | None, zone: ZoneInfo, open_as: str = "") -> str:
    """Return a UTC instant as local time with its zone, so that an hour that occurs twice can be told apart.

    >>> local(datetime(2026, 10, 12, 11, 24), ZoneInfo("Europe/Dublin"))
    '2026-10-12 12:24 IST'
    """
    if instant is None:
        return open_as
    return instant.replace(tzinfo=UTC).astimezone(zone).strftime("%Y-%m-%d %H:%M %Z")


def rows_in_files(places: Iterable[Place]) -> str:
    """Return where rows stand, file by file.

    >>> rows_in_files([Place("a.csv", "0", 4), Place("a.csv", "0", 9)])
    'a.csv, rows 4, 9'
    """
    told = []
    for (file, _), group in groupby(
        sorted(places, key=_file_and_row), key=lambda place: (place.file, place.sha256)
    ):
        rows = [str(place.row) for place in group]
        told.append(f"{file}, row{'s' if len(rows) > 1 else ''} {', '.join(rows)}")
    return "; ".join(told)


def cycle_cells(cycle: Cycle, zone: ZoneInfo) -> tuple[Cell, ...]:
    """Return a cycle as the row of a table with `CYCLE_COLUMNS`."""
    return (
        local(cycle.started_at, zone), local(cycle.ended_at, zone, "not recorded"), cycle.outcome,
        "yes" if cycle.valid else "no", words.REASONS.get(cycle.invalid_reason or "", ""), cycle.a0_s,
        cycle.cycle_ref or "", rows_in_files(cycle.rows),
    )  # fmt: skip


def named(person: Person, references: Mapping[Person, str]) -> str:
    """Return a patient's reference where it was revealed, else the key."""
    return references.get(person, person[1])


def counted(number: int, noun: str) -> str:
    """Return a number with its noun.

    >>> counted(1, "patient"), counted(0, "patient")
    ('1 patient', '0 patients')
    """
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def _file_and_row(place: Place) -> tuple[str, str, int]:
    return place.file, place.sha256, place.row
