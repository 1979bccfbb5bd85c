"""`dewledger quarantine`"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pipeline import console
from pipeline.commands import options
from pipeline.errors import QUARANTINED, UsageError

_limit = click.option(
    "--limit", default=50, show_default=True, type=click.IntRange(1), help="Rows to show; all in --json."
)
_store = click.option("--store", "store_path", type=click.Path(path_type=Path), help="The store's folder.")
_file = click.option("--file", "file_name", help="Only rows of the file of this name, or hash.")
_table = click.option("--table", help="Only rows of this table.")


@click.group(invoke_without_command=True)
@_store
@_limit
@options.as_json
@click.pass_context
def quarantine(context: click.Context, store_path: Path | None, limit: int, as_json: bool) -> None:
    """List the rows that were not accepted; mend them, take them in again, or give them up."""
    if context.invoked_subcommand is None:
        if store_path is None:
            raise click.UsageError("Missing option '--store'.")
        _list(store_path, None, None, limit, as_json)


@quarantine.command("list")
@options.store
@_file
@_table
@_limit
@options.as_json
def list_rows(store_path: Path, file_name: str | None, table: str | None, limit: int, as_json: bool) -> None:
    """List the rows, with file, row and reasons."""
    _list(store_path, file_name, table, limit, as_json)


@quarantine.command()
@options.store
@click.argument("file_name")
@click.argument("row", type=click.IntRange(1))
@options.as_json
def show(store_path: Path, file_name: str, row: int, as_json: bool) -> None:
    """Show one row of FILE_NAME: what it says, what is wrong, what to do."""
    from pipeline import run

    found = run.quarantined_row(store_path, file_name, row)
    if as_json:
        options.print_json({"row": found})
        return
    click.echo(f"{found['file_name']}, row {found['source_row']}, table {found['table']}")
    for fault in found["wrong"]:
        click.echo(f"  {fault}")
    for name, said in found["fields"].items():
        click.echo(f"  {name} = {'' if said is None else said}")


@quarantine.command()
@options.store
@click.option(
    "--to", required=True, type=click.Path(path_type=Path, dir_okay=False), help="Workbook (.xlsx)."
)
@_file
@_table
@options.as_json
def export(store_path: Path, to: Path, file_name: str | None, table: str | None, as_json: bool) -> None:
    """Write the rows as a workbook in which they can be mended."""
    from pipeline import run

    rows = run.export_quarantine(store_path, file_name, table, to)
    _tell({"rows": rows, "to": str(to)}, f"Wrote {rows} rows to {to}.", as_json)


@quarantine.command()
@options.store
@click.option("--site", help="Site of mended rows that name none, where the store knows several.")
@click.argument("workbook", type=click.Path(path_type=Path))
@options.as_json
def retry(store_path: Path, site: str | None, workbook: Path, as_json: bool) -> None:
    """Take in the rows that were mended in WORKBOOK; they keep their file and number."""
    from datetime import UTC, datetime

    from pipeline import run

    done = run.retry_quarantine(store_path, workbook, site, datetime.now(UTC))
    accepted, kept_out = sum(done.accepted.values()), sum(done.quarantined.values())
    told = (
        f"{accepted} rows taken in, {kept_out} still in quarantine, {done.unchanged} left as they were, "
        f"{done.gone} taken in or given up before."
    )
    document = {
        "accepted": done.accepted,
        "quarantined": done.quarantined,
        "unchanged": done.unchanged,
        "gone": done.gone,
    }
    _tell(document, told, as_json)
    if kept_out:
        click.get_current_context().exit(QUARANTINED)


@quarantine.command()
@options.store
@click.option("--reason", required=True, help="Why the rows are given up; kept in the ledger and the audit.")
@_file
@_table
@click.option("--row", "rows", multiple=True, type=click.IntRange(1), help="Row number; may be given again.")
@click.option("--all", "everything", is_flag=True, help="All rows in quarantine.")
@options.as_json
def discard(
    store_path: Path,
    reason: str,
    file_name: str | None,
    table: str | None,
    rows: tuple[int, ...],
    everything: bool,
    as_json: bool,
) -> None:
    """Give up rows for good; they count as skipped from then on."""
    from pipeline import run

    if not (file_name or table or everything):
        raise UsageError("Say which rows: --file, --table or --all (and --row for single ones of a file).")
    if rows and not file_name:
        raise UsageError("--row counts the rows of one file; name it with --file.")
    count = run.discard_quarantine(store_path, file_name, table, list(rows), reason)
    _tell({"discarded": count}, f"{count} rows given up.", as_json)


def _list(store_path: Path, file_name: str | None, table: str | None, limit: int, as_json: bool) -> None:
    from pipeline import run

    rows = run.quarantine(store_path, file_name, table)
    if as_json:
        options.print_json({"rows": rows.to_dicts()})
    else:
        console.show_quarantine(rows, limit)


def _tell(document: dict[str, Any], message: str, as_json: bool) -> None:
    if as_json:
        options.print_json(document)
    else:
        console.say(message)
