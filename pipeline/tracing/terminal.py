"""An answer on a terminal: sentences, the tables that matter, and the cautions last, so that they stay in view."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Collection, Sequence
from pathlib import Path

import click

from pipeline import console
from pipeline.findings.model import Table
from pipeline.findings.wording import shown
from pipeline.tracing.answer import Answer

#: Columns that a terminal has no room for; the files have them all.
_LEFT_OUT = ("Rows", "Changeovers", "Next to")
_KEY = re.compile(r"[0-9a-f]{32}")
_KEY_SHOWN = 12
_WIDTH_OF_A_FILE = 200


def show(answer: Answer, tables: Collection[str], files: Sequence[Path]) -> None:
    """Print an answer; ``tables`` are the keys of those to print."""
    click.echo(answer.title)
    for line in (answer.scope, *answer.notes, *answer.sentences):
        click.echo(line)
    for table in answer.tables:
        if table.key in tables and table.rows:
            _print(table)
    click.echo()
    for caution in answer.cautions:
        click.echo(f"- {caution}")
    for path in files:
        console.say(f"Wrote {path}")


def _print(table: Table) -> None:
    import rich.console
    import rich.table
    import rich.text

    kept = [place for place, column in enumerate(table.columns) if column.name not in _LEFT_OUT]
    drawn = rich.table.Table(*(table.columns[place].name for place in kept), box=None, title_justify="left")
    for row in table.rows:
        cells = (shown(row[place], table.columns[place].kind) for place in kept)
        # As text, not as markup: a ward may be named '[bold]'.
        drawn.add_row(*(rich.text.Text(_short(cell)) for cell in cells))
    click.echo(f"\n{table.caption}")
    plain = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
    width = None if sys.stdout.isatty() else _WIDTH_OF_A_FILE
    rich.console.Console(no_color=plain, highlight=False, width=width).print(drawn)


def _short(cell: str) -> str:
    return f"{cell[:_KEY_SHOWN]}…" if _KEY.fullmatch(cell) else cell
