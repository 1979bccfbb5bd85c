"""`dewledger explain`"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from pipeline.commands import options
from pipeline.errors import UsageError


@click.command()
@click.argument("measure", required=False)
@click.option("--list", "is_list", is_flag=True, help="List what can be explained.")
@click.option(
    "--store", "store_path", type=click.Path(path_type=Path), help="Store whose rules and rows to show."
)
@click.option("--month", help="Month whose rows to show, such as 2026-10.")
@click.option("--site", help="One site only.")
@click.option("--ward", help="One ward only.")
@click.option(
    "--limit", default=50, show_default=True, type=click.IntRange(1), help="Rows to show; all in --json."
)
@options.as_json
def explain(
    measure: str | None,
    is_list: bool,
    store_path: Path | None,
    month: str | None,
    site: str | None,
    ward: str | None,
    limit: int,
    as_json: bool,
) -> None:
    """Say what a MEASURE means, the limits in force, and the rows behind a month's figure."""
    from pipeline import explain_console, explaining, run

    if is_list:
        found = explaining.explained()
        if as_json:
            options.print_json({"measures": [{"name": name, "title": title} for name, title in found]})
        else:
            explain_console.show_list(found)
        return
    if measure is None:
        raise UsageError("Name a measure, such as changeover_monthly, or see them with --list.")
    if month and store_path is None:
        raise UsageError("The rows of a month are in a store; name it with --store.")
    defined, limits, evidence = run.explain(store_path, measure, month, site, ward)
    if as_json:
        options.print_json(
            {
                "definition": {**asdict(defined), "words": [list(line) for line in defined.words]},
                "limits": [asdict(item) for item in limits],
                "evidence": explain_console.document(evidence) if evidence else None,
            }
        )
    else:
        explain_console.show(defined, limits, evidence, limit)
