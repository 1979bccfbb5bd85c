"""`dewledger audit`"""

from __future__ import annotations

import json
from pathlib import Path

import click

from pipeline.commands import options
from pipeline.errors import STORAGE


@click.group()
def audit() -> None:
    """What was done to a store, by whom and when: a chain of lines in which every change shows."""


@audit.command()
@options.store
@options.as_json
def verify(store_path: Path, as_json: bool) -> None:
    """Look for lines that were changed, taken away or moved; ends with status 7 when there are any.

    Note the number of lines and the last hash outside the store: whoever can rewrite the whole chain can only
    be found out by them.
    """
    from pipeline import run

    found = run.audit_lines(store_path)
    if as_json:
        options.print_json({"lines": len(found.lines), "last_sha256": found.last, "faults": found.faults})
    else:
        for fault in found.faults or ["No line was changed, taken away or moved."]:
            click.echo(fault)
        click.echo(f"{len(found.lines)} lines; the last has the hash {found.last}.")
    if found.faults:
        click.get_current_context().exit(STORAGE)


@audit.command()
@options.store
@options.as_json
def show(store_path: Path, as_json: bool) -> None:
    """Print every line: when, who, which command, and its facts."""
    from pipeline import run

    lines = run.audit_lines(store_path).lines
    if as_json:
        options.print_json({"lines": lines})
        return
    for line in lines:
        head = " ".join(str(line.pop(name, "")) for name in ("at", "user", "command"))
        facts = {name: value for name, value in line.items() if name not in ("previous", "program_version")}
        click.echo(f"{head} {json.dumps(facts, ensure_ascii=True)}")
