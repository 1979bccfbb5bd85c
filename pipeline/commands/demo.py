"""`dewledger demo`"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options


@click.command()
@options.to
@click.option("--months", default=18, show_default=True, type=click.IntRange(1, 60), help="Months to invent.")
@click.option(
    "--units", default=60, show_default=True, type=click.IntRange(4, 600), help="Units over both sites."
)
@click.option("--sample-minutes", default="5", show_default=True, type=click.Choice(["1", "5"]))
@options.as_json
def demo(to: Path, months: int, units: int, sample_minutes: str, as_json: bool) -> None:
    """Make the invented Tarnholt hospitals, ingest, measure and render them."""
    from pipeline import run

    pages = run.demo(to, months, units, int(sample_minutes), datetime.now(UTC), quiet=as_json)
    if as_json:
        options.print_json({"files": [str(path) for path in pages]})
    else:
        console.show_pages(pages)
