"""`dewledger completion`"""

from __future__ import annotations

import click


@click.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def completion(context: click.Context, shell: str) -> None:
    """Print the shell's completion script; add it to the shell's start-up file."""
    from click.shell_completion import get_completion_class

    found = get_completion_class(shell)
    assert found is not None  # the choice above holds only shells that click knows
    click.echo(found(context.find_root().command, {}, "dewledger", "_DEWLEDGER_COMPLETE").source())
