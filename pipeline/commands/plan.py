"""`dewledger plan`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.commands import options


@click.command()
@options.store
@click.option("--months", default=12, show_default=True, type=click.IntRange(1, 24), help="Months ahead.")
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="KEY=VALUE",
    help="Compare with a plan in which a rule (parts.circuit.max_days=5, turnaround_target_h=12), a price or lead time"
    " (items.ITEM.price=250), demand=+20%, service_level=0.98 or ward.closed=NAME differs; may be repeated.",
)
@click.option(
    "--to", type=click.Path(path_type=Path, file_okay=False), help="Folder for a workbook per site."
)
@options.as_json
def plan(store_path: Path, months: int, changes: tuple[str, ...], to: Path | None, as_json: bool) -> None:
    """Plan next year's parts, orders, money and fleet from what was measured.

    Planning estimates, no ground to stretch a part's life, reuse a part or withhold a unit.
    """
    from pipeline import plan_console, run

    found, files = run.plan(store_path, months, list(changes), to)
    if as_json:
        options.print_json({**plan_console.plan_document(found), "files": [str(path) for path in files]})
    else:
        plan_console.show_plan(found, files)
