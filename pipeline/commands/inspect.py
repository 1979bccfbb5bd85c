"""`dewledger inspect`"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline import console
from pipeline.commands import options

if TYPE_CHECKING:
    from pipeline.ingest.drafting.draft import ColumnDraft, Draft
    from pipeline.ingest.drafting.first_rows import FirstRows


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--table", help="The input table that the file holds, where that is known.")
@click.option("--sheet", help="The workbook's sheet, where that is known.")
@click.option(
    "--rules", type=click.Path(path_type=Path), help="The site's rules (TOML), for its clock and parts."
)
@click.option(
    "--write", "to", type=click.Path(path_type=Path, dir_okay=False), help="Profile (TOML) to write."
)
@options.as_json
def inspect(
    file: Path, table: str | None, sheet: str | None, rules: Path | None, to: Path | None, as_json: bool
) -> None:
    """Draft a profile for a FILE not seen before; what is doubtful is left open, with its reason."""
    from pipeline import run

    draft, rows = run.inspect(file, table, sheet, rules, to, datetime.now(UTC))
    if as_json:
        options.print_json({"draft": _document(draft), "first_rows": _document(rows)})
        return
    _show(draft, rows)
    if to:
        console.say(
            f"Wrote the draft to {to}. Settle what is marked OPEN, then: dewledger check --profile {to} {file}"
        )


def _document(value: Draft | FirstRows) -> dict[str, object]:
    from dataclasses import asdict

    return asdict(value)


def _show(draft: Draft, rows: FirstRows) -> None:
    click.echo(f"{draft.file}: {f'table {draft.table}' if draft.table else 'the table is open'}")
    for reason in draft.reasons:
        click.echo(f"  {reason}")
    for doubt in draft.doubts:
        click.echo(f"  OPEN: {doubt}")
    for column in draft.columns:
        click.echo(f"  {_line(column)}")
    if rows.unreadable:
        click.echo(f"Not to be read as it stands: {rows.unreadable}")
        return
    click.echo(f"As stored ({rows.accepted} rows; {rows.quarantined} would be quarantined), the first ones:")
    for row in rows.rows:
        click.echo("  " + ", ".join(f"{name} {value}" for name, value in row.items() if value is not None))


def _line(column: ColumnDraft) -> str:
    if column.ours is None:
        return f"{column.name}: {f'OPEN: {column.doubt}' if column.doubt else 'not read'}"
    part = f" ({column.part.removeprefix('.')})" if column.part else ""
    return f"{column.name} → {column.ours}{part}: {'; '.join(column.reasons)}"
