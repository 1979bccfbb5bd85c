"""What the commands of tracing share: their options."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from pipeline.errors import UsageError

site = click.option("--site", help="Only this site; without it all sites of the store.")
folder = click.option(
    "--to", type=click.Path(path_type=Path, file_okay=False), help="Folder for the page, workbook and tables."
)
from_day = click.option("--from", "from_day", help="From the start of a day of the site, or from an instant.")
until_day = click.option(
    "--until", "until_day", help="Through the end of a day of the site, or up to an instant."
)
reveal = click.option(
    "--reveal", is_flag=True, help="Show patient references; needs --reason, and is audited."
)
reason = click.option("--reason", help="Why references are shown; kept in clear in the audit.")


def reference(stated: str) -> str:
    """Return a patient reference; '-' takes it from standard input, so that it stands in no shell history."""
    return sys.stdin.readline().strip() if stated == "-" else stated


def checked_reason(revealing: bool, reason: str | None) -> str | None:
    """Return the reason to reveal references for, None when nothing is to be revealed."""
    if revealing and not (reason and reason.strip()):
        raise UsageError("--reveal shows patient references; say why with --reason, it is kept in the audit.")
    if reason and not revealing:
        raise UsageError("--reason belongs to --reveal; give both or neither.")
    return reason if revealing else None
