"""`dewledger ingest`"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options
from pipeline.errors import QUARANTINED


@click.command()
@options.store
@click.option("--site", help="Site of rows that name none.")
@click.option("--rules", type=click.Path(path_type=Path), help="The site's rules (TOML); kept in the store.")
@click.option(
    "--profile", type=click.Path(path_type=Path), help="How to read these exports (TOML, or a folder)."
)
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@options.as_json
def ingest(
    store_path: Path,
    site: str | None,
    rules: Path | None,
    profile: Path | None,
    paths: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Read exports into the store, row by row: accepted, duplicate, skipped or quarantined."""
    from pipeline import run

    report = run.ingest(store_path, list(paths), site, rules, profile, datetime.now(UTC), quiet=as_json)
    if as_json:
        options.print_json(report.as_json())
    else:
        console.show_ingest(report)
    if any(file.quarantined or file.refused for file in report.files):
        click.get_current_context().exit(QUARANTINED)
