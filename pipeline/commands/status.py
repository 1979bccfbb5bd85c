"""`dewledger status`"""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import click

from pipeline.commands import options


@click.command()
@options.store
@click.option("--changes", is_flag=True, help="List instead every value that a later export corrected.")
@options.as_json
def status(store_path: Path, changes: bool, as_json: bool) -> None:
    """Show what the store holds by source and month, what is missing or quiet, and who is writing."""
    from pipeline import run, ward_console

    if changes:
        corrected = run.corrections(store_path)
        if as_json:
            options.print_json({"changes": [asdict(change) for change in corrected]})
        else:
            ward_console.show_corrections(corrected)
        return
    found = run.status(store_path, datetime.now(UTC).replace(tzinfo=None, microsecond=0))
    if as_json:
        options.print_json(asdict(found))
    else:
        ward_console.show_status(found)
