"""`dewledger check`"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline import console
from pipeline.commands import options
from pipeline.errors import QUARANTINED

if TYPE_CHECKING:
    from pipeline.ingest.check import CheckReport, Finding

#: Findings shown of one file; all of them are in the workbook and the JSON.
_SHOWN = 20


@click.command()
@click.option("--site", help="Site of rows that name none.")
@click.option("--rules", type=click.Path(path_type=Path), help="The site's rules (TOML).")
@click.option(
    "--profile", type=click.Path(path_type=Path), help="How to read these exports: a TOML file or a folder."
)
@click.option(
    "--to", type=click.Path(path_type=Path, dir_okay=False), help="Workbook (.xlsx) to write the findings to."
)
@click.option("--mask", is_flag=True, help="Show only the shape of values: 99.99.9999 for a date.")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@options.as_json
def check(
    site: str | None,
    rules: Path | None,
    profile: Path | None,
    to: Path | None,
    mask: bool,
    paths: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Try exports as ingest would read them, keep nothing, and list what is wrong in plain words."""
    from pipeline import run

    report = run.check(list(paths), site, rules, profile, mask, to, datetime.now(UTC))
    if as_json:
        options.print_json(report.as_json())
    else:
        _show(report)
        if to:
            console.say(f"Wrote the findings to {to}.")
    if any(file.quarantined or file.refused for file in report.files):
        click.get_current_context().exit(QUARANTINED)


def _show(report: CheckReport) -> None:
    for name in dict.fromkeys(found.file for found in report.findings):
        findings = [found for found in report.findings if found.file == name]
        click.echo(f"{name}:")
        for found in findings[:_SHOWN]:
            click.echo(f"  {_line(found)}")
        if len(findings) > _SHOWN:
            click.echo(f"  … and {len(findings) - _SHOWN} more; --to FILE.xlsx and --json list all.")
    console.show_account(report.files, report.passed_over)


def _line(found: Finding) -> str:
    place = [
        f"sheet {found.sheet}" if found.sheet else "",
        f"row {found.row}" if found.row is not None else "",
    ]
    place += [f"column {found.column}" if found.column else "", f"{found.rows} rows" if found.rows else ""]
    said = f": {found.value!r}" if found.value else ""
    advice = f" → {found.advice}" if found.advice else ""
    where = ", ".join(filter(None, place))
    return f"{found.kind}{f', {where}' if where else ''}{said}: {found.meaning}{advice}."
