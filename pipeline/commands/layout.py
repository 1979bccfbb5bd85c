"""`dewledger layout`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import console
from pipeline.commands import options


@click.command()
@options.to
@click.option("--rules", type=click.Path(path_type=Path), help="The site's rules (TOML), for its own parts.")
@options.as_json
def layout(to: Path, rules: Path | None, as_json: bool) -> None:
    """Describe the plain layout as a data package (datapackage.json), for whoever makes or checks exports.

    It names the files of the folder that are in the plain layout; in a folder without any, one for each table.
    """
    from pipeline import run

    path = run.layout(to, rules)
    if as_json:
        options.print_json({"file": str(path)})
    else:
        console.say(f"Wrote {path}.")
