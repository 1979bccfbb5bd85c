"""`dewledger export`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options


@click.command()
@options.store
@options.to
@click.option(
    "--format", "file_format", type=click.Choice(["csv", "parquet"]), default="csv", show_default=True
)
@options.as_json
def export(store_path: Path, to: Path, file_format: str, as_json: bool) -> None:
    """Write every measured table that has rows, and the quarantine, one file each, and a data package of them."""
    from pipeline import run

    files = run.export(store_path, to, file_format)
    if as_json:
        options.print_json({"files": [path.name for path in files], "to": str(to)})
    else:
        console.say(f"Wrote {len(files)} files to {to}.")
