"""`dewledger unit`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options
from pipeline.errors import UsageError
from pipeline.tracing import options as tracing


@click.command()
@options.store
@click.option("--unit", help="The unit's number; a blank sheet may do without.")
@tracing.site
@tracing.from_day
@tracing.until_day
@options.as_of
@click.option("--blank-sheet", is_flag=True, help="Write a log sheet to print, in the site's own steps.")
@tracing.reveal
@tracing.reason
@tracing.folder
@options.as_json
def unit(
    store_path: Path,
    unit: str | None,
    site: str | None,
    from_day: str | None,
    until_day: str | None,
    as_of: str | None,
    blank_sheet: bool,
    reveal: bool,
    reason: str | None,
    to: Path | None,
    as_json: bool,
) -> None:
    """One unit's history on a page: its time, patients, cycles, counts, parts, and what stands out."""
    from pipeline import run
    from pipeline.instants import parse_instant
    from pipeline.tracing.documents import units_document
    from pipeline.tracing.period import Period
    from pipeline.tracing.terminal import show

    if blank_sheet:
        if to is None:
            raise UsageError("--blank-sheet writes a page; name its folder with --to.")
        sheets = run.log_sheets(store_path, unit, site, to)
        if as_json:
            options.print_json({"files": [str(path) for path in sheets]})
        else:
            console.show_pages(sheets)
        return
    if unit is None:
        raise UsageError("Name the unit with --unit.")
    instant = parse_instant(as_of) if as_of else None
    why = tracing.checked_reason(reveal, reason)
    found, answers, files = run.unit_histories(
        store_path, unit, site, Period(from_day, until_day), instant, why, to
    )
    if as_json:
        options.print_json({**units_document(found), "files": [str(path) for path in files]})
        return
    for place, answer in enumerate(answers, start=1):
        show(answer, ("remarks", "counts"), files if place == len(answers) else ())
