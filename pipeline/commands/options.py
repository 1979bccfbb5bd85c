"""What several commands share: their options, and the one JSON document that each can print."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

SCHEMA_VERSION = 1


def print_json(document: dict[str, Any]) -> None:
    """Print the one JSON object that `--json` promises."""
    click.echo(json.dumps({"schema_version": SCHEMA_VERSION, **document}, default=str, ensure_ascii=False))


def _note_json(context: click.Context, _: click.Parameter, value: bool) -> bool:
    context.find_root().meta["json"] = value
    return value


as_json = click.option(
    "--json", "as_json", is_flag=True, is_eager=True, callback=_note_json, help="Print one JSON object."
)
store = click.option(
    "--store", "store_path", required=True, type=click.Path(path_type=Path), help="The store's folder."
)
to = click.option(
    "--to", required=True, type=click.Path(path_type=Path, file_okay=False), help="Folder to write to."
)
month = click.option("--month", required=True, help="Month, such as 2026-10.")
as_of = click.option("--as-of", help="Instant the measures stand for, such as 2026-11-01T00:00:00Z.")
