"""`dewledger close`"""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import click

from pipeline.commands import options
from pipeline.errors import UsageError


@click.command()
@options.store
@click.option("--month", help="Month to close, such as 2026-10.")
@click.option("--list", "is_list", is_flag=True, help="List the closed months instead.")
@click.option("--edition", type=click.IntRange(1), help="Write this edition out again instead of closing.")
@click.option(
    "--to", type=click.Path(path_type=Path, file_okay=False), help="Folder for the edition's files."
)
@click.option("--allow-poor-data", is_flag=True, help="Close in spite of the quality gate, and say so.")
@options.as_json
def close(
    store_path: Path,
    month: str | None,
    is_list: bool,
    edition: int | None,
    to: Path | None,
    allow_poor_data: bool,
    as_json: bool,
) -> None:
    """Freeze a month: its tables, rules and pages. Late data make a next edition with a list of changes."""
    from pipeline import run, ward_console

    if is_list:
        found = run.editions(store_path, month)
    elif month is None:
        raise UsageError("Name the month to close with --month, such as --month 2026-10, or use --list.")
    elif edition is not None or to is not None:
        if edition is None or to is None:
            raise UsageError("To write an edition out again, name both --edition and --to.")
        files = run.write_edition(store_path, month, edition, to)
        if as_json:
            options.print_json({"month": month, "edition": edition, "files": [str(path) for path in files]})
        else:
            ward_console.show_files(files)
        return
    else:
        now = datetime.now(UTC).replace(tzinfo=None, microsecond=0)
        found = [run.close(store_path, month, allow_poor_data, now, quiet=as_json)]
    if as_json:
        options.print_json({"editions": [asdict(item) for item in found]})
    else:
        ward_console.show_editions(found)
