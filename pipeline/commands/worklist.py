"""`dewledger worklist`"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from pipeline.commands import options


@click.command()
@options.store
@click.option("--as-of", help="Instant the list stands for, such as 2026-11-01T08:00:00Z (default: now).")
@click.option("--ward", help="One ward only.")
@click.option(
    "--to", type=click.Path(path_type=Path, file_okay=False), help="Folder for a page per ward to print."
)
@options.as_json
def worklist(store_path: Path, as_of: str | None, ward: str | None, to: Path | None, as_json: bool) -> None:
    """List what the wards and the equipment room have to see to, most urgent first.

    Reads the store and changes nothing in it, so a scheduler may run it each hour.
    """
    from pipeline import run, ward_console

    found, pages = run.worklist(
        store_path, as_of, ward, to, datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    )
    if as_json:
        options.print_json({**ward_console.worklist_document(found), "files": [str(path) for path in pages]})
    else:
        ward_console.show_worklist(found)
        ward_console.show_files(pages)
