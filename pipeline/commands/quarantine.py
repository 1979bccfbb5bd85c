"""`dewledger quarantine`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options


@click.command()
@options.store
@click.option(
    "--limit", default=50, show_default=True, type=click.IntRange(1), help="Rows to show; all in --json."
)
@options.as_json
def quarantine(store_path: Path, limit: int, as_json: bool) -> None:
    """List the rows that were not accepted, with file, row and reasons."""
    from pipeline import run

    rows = run.quarantine(store_path)
    if as_json:
        options.print_json({"rows": rows.to_dicts()})
    else:
        console.show_quarantine(rows, limit)
