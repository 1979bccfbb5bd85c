"""`dewledger measure`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options


@click.command()
@options.store
@options.as_of
@options.as_json
def measure(store_path: Path, as_of: str | None, as_json: bool) -> None:
    """Compute every table as of an instant (default: the latest event in the store)."""
    from pipeline import run

    results = run.measure(store_path, as_of, quiet=as_json)
    document = {
        "as_of": f"{results.as_of.isoformat()}Z",
        "run_id": results.run_id,
        "sites": sorted(results.sites),
        "tables": sorted(results.tables),
    }
    if as_json:
        options.print_json(document)
    else:
        console.say(
            f"Measured {len(results.tables)} tables of {len(results.sites)} site(s) as of {document['as_of']}."
        )
