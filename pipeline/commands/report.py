"""`dewledger report`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options


@click.command()
@options.store
@options.month
@options.to
@click.option("--allow-poor-data", is_flag=True, help="Publish in spite of the quality gate, and say so.")
@options.as_json
def report(store_path: Path, month: str, to: Path, allow_poor_data: bool, as_json: bool) -> None:
    """Render the month's report, one page per site."""
    from pipeline import run

    pages = run.report(store_path, month, to, allow_poor_data)
    if as_json:
        options.print_json({"month": month, "files": [str(path) for path in pages]})
    else:
        console.show_pages(pages)
