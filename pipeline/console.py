"""What a person sees on a terminal: messages and progress on standard error, answers on standard output."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    import polars as pl
    from rich.progress import Progress

    from pipeline.ingest.ingest import IngestReport
    from pipeline.ingest.ingest_file import FileResult

#: Called with a file's name, its rows, and the bytes done of all.
Step = Callable[[str, int, int, int], None]


def say(message: str) -> None:
    """Print a message to standard error."""
    click.echo(message, err=True)


@contextlib.contextmanager
def bytes_read(quiet: bool) -> Iterator[Step]:
    """Show how much of the files is read, with rate and time left; one line per stage without a terminal."""
    if not _is_shown(quiet):
        yield lambda name, rows, done, total: None
        return
    with _bar() as bar:
        task = bar.add_task("Reading", total=None)

        def step(name: str, rows: int, done: int, total: int) -> None:
            bar.update(task, completed=done, total=max(total, 1), description=f"Reading {name}")

        yield step


@contextlib.contextmanager
def stages(quiet: bool) -> Iterator[Callable[[str], None]]:
    """Show which step is being worked on."""
    if not _is_shown(quiet):
        yield lambda name: None
        return
    from rich.console import Console

    with Console(stderr=True).status("Measuring") as status:
        yield lambda name: status.update(f"Measuring {name}")


def show_ingest(report: IngestReport) -> None:
    """Print the account of every file, then of all together."""
    show_account(report.files, report.passed_over)
    if any(file.quarantined for file in report.files):
        say("See the quarantined rows with 'dewledger quarantine'.")


def show_account(files: Sequence[FileResult], passed_over: Sequence[str]) -> None:
    """Print what became of the rows of every file, and what a spreadsheet did to it."""
    for file in files:
        if file.refused:
            say(f"{file.name}: refused: {file.refused}")
        else:
            say(
                f"{file.name}: {file.rows_read} rows read = {file.accepted} accepted + {file.duplicates} duplicates"
                f" + {file.skipped} skipped + {file.quarantined} quarantined{_reasons(file.reasons)}"
            )
        for note in file.notes:
            say(f"{file.name}: {note}.")
    for name in passed_over:
        say(f"{name}: passed over, for its name fits no table.")
    read = [file for file in files if not file.refused]
    say(
        f"{len(read)} files, {sum(file.rows_read for file in read)} rows read,"
        f" {sum(file.quarantined for file in read)} quarantined; {len(files) - len(read)} files refused."
    )


def show_pages(pages: Sequence[Path]) -> None:
    """Print where the report is, and as an address that a browser opens."""
    for path in pages:
        click.echo(path)
    if pages:
        say(f"Open {pages[0].resolve().as_uri()}")


def show_quarantine(rows: pl.DataFrame, limit: int) -> None:
    """Print the first rows as a table, and how many there are in all."""
    from rich.console import Console
    from rich.table import Table

    table = Table("file", "row", "table", "reasons and their columns", box=None)
    for row in rows.head(limit).iter_rows(named=True):
        table.add_row(
            row["file_name"], str(row["source_row"]), row["table"], row["faults"].replace(",", ", ")
        )
    Console(no_color=_no_colour(), highlight=False).print(table)
    if rows.height > limit:
        say(f"... and {rows.height - limit} more; --limit {rows.height} shows all.")
    say(f"{rows.height} rows in quarantine.")


def _reasons(reasons: dict[str, int]) -> str:
    listed = ", ".join(f"{name} {count}" for name, count in sorted(reasons.items()))
    return f" ({listed})" if listed else ""


def _is_shown(quiet: bool) -> bool:
    return not quiet and sys.stderr.isatty() and not os.environ.get("CI")


def _no_colour() -> bool:
    return bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"


def _bar() -> Progress:
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        DownloadColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
        TransferSpeedColumn,
    )

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        DownloadColumn(),
        TransferSpeedColumn(),
        TimeRemainingColumn(),
    )
    return Progress(*columns, console=Console(stderr=True, no_color=_no_colour()), transient=True)
