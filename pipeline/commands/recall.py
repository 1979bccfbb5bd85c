"""`dewledger recall`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.commands import options
from pipeline.tracing import options as tracing


@click.command()
@options.store
@click.option(
    "--lot", required=True, help="The lot as printed, in upper or lower case, or the pack's whole GS1 label."
)
@tracing.site
@options.as_of
@tracing.reveal
@tracing.reason
@tracing.folder
@options.as_json
def recall(
    store_path: Path,
    lot: str,
    site: str | None,
    as_of: str | None,
    reveal: bool,
    reason: str | None,
    to: Path | None,
    as_json: bool,
) -> None:
    """Whom a lot reached, where its pieces are, and what is left of it in stock.

    Check the records of each person named; the list is where to start, and whoever is missing from it is not
    cleared.
    """
    from pipeline import run
    from pipeline.instants import parse_instant
    from pipeline.tracing.documents import recall_document
    from pipeline.tracing.terminal import show

    instant = parse_instant(as_of) if as_of else None
    found, answer, files = run.recall(
        store_path, lot, site, instant, tracing.checked_reason(reveal, reason), to
    )
    if as_json:
        options.print_json({**recall_document(found), "files": [str(path) for path in files]})
    else:
        show(answer, ("patients", "fitted", "stock", "wards"), files)
