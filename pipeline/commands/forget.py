"""`dewledger forget`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.commands import options
from pipeline.tracing import options as tracing

_KEYS_AND_TIME = """
Changing the key: keys cannot be computed anew without the references, so ingest the exports once more into a
new store, which makes itself a new key; then delete the old store and its key. The measures are the same, the
patient keys all others.

Keeping less: ingest only the exports that are still to be kept into a new store, and delete the old one with
its key. How long that is, the site's own policy says.
"""


@click.command(epilog=_KEYS_AND_TIME)
@options.store
@click.option("--patient", required=True, help="The patient's reference; '-' reads it from standard input.")
@click.option("--site", required=True, help="The site whose patient it is.")
@click.option("--yes", is_flag=True, help="Remove; without it only say what would be removed.")
@click.option("--reason", help="Why; kept in clear in the audit, so without a name.")
@options.as_json
def forget(store_path: Path, patient: str, site: str, yes: bool, reason: str | None, as_json: bool) -> None:
    """Remove one patient from a store: rows, quarantine, references and results.

    What is left are counts. The measures must be made again. Exports, reports, lists and backups outside the
    store are not reached; an export that still names the patient brings them back when it is ingested.
    """
    from dataclasses import asdict

    from pipeline import run

    found = run.forget(store_path, tracing.reference(patient), site, reason, really=yes)
    if as_json:
        options.print_json({"removed": yes, **asdict(found)})
        return
    counts = ", ".join(f"{count} of {table}" for table, count in found.rows.items()) or "none"
    click.echo(f"{'Removed' if yes else 'Would remove'} from site {found.site_id}:")
    click.echo(f"- stored rows: {counts}")
    click.echo(f"- quarantined rows: {found.quarantined}")
    click.echo(f"- references: {found.references}")
    if found.published:
        click.echo("- all measured results; run 'dewledger measure' again")
    if found.editions:
        click.echo(
            f"- the key in closed months (month/edition): {', '.join(found.editions)}; each is marked,"
        )
        click.echo("  and the site's board pack and workbook go from it")
    click.echo("Not reached: exports, reports and lists outside the store, and its backups.")
    if not yes:
        click.echo("Nothing was removed. Add --yes to remove it; that cannot be undone.")
