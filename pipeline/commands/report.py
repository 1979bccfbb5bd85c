"""`dewledger report`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options
from pipeline.disclosure import PROFILES
from pipeline.errors import UsageError


@click.command()
@options.store
@options.month
@options.to
@click.option("--allow-poor-data", is_flag=True, help="Publish in spite of the quality gate, and say so.")
@click.option(
    "--shared", "is_shared", is_flag=True, help="For readers outside the team: site and wards only, no case."
)
@click.option(
    "--suppress",
    "profile",
    type=click.Choice(list(PROFILES)),
    help=f"Which small counts a shared edition hides; {next(iter(PROFILES))} unless said otherwise.",
)
@options.as_json
def report(
    store_path: Path,
    month: str,
    to: Path,
    allow_poor_data: bool,
    is_shared: bool,
    profile: str | None,
    as_json: bool,
) -> None:
    """Render the month's report, one page per site."""
    from pipeline import run

    if profile and not is_shared:
        raise UsageError("--suppress hides counts in a shared edition only; add --shared, or leave it out.")
    hidden = (profile or next(iter(PROFILES))) if is_shared else None
    if hidden:
        pages = run.share(store_path, month, to, hidden, allow_poor_data)
    else:
        pages = run.report(store_path, month, to, allow_poor_data)
    if as_json:
        options.print_json({"month": month, "suppress": hidden, "files": [str(path) for path in pages]})
    else:
        console.show_pages(pages)
