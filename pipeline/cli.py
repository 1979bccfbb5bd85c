"""The command line: its commands, and how every failure ends. Heavy libraries load inside the commands only."""

from __future__ import annotations

import os
import signal
import sys
import traceback
from pathlib import Path
from types import FrameType
from typing import Any

import click

from pipeline import __version__, console
from pipeline.commands import (
    audit,
    check,
    close,
    completion,
    demo,
    explain,
    export,
    forget,
    ingest,
    inspect,
    layout,
    measure,
    options,
    plan,
    quarantine,
    recall,
    report,
    status,
    trace,
    unit,
    worklist,
)
from pipeline.errors import FAULT, DewledgerError

_STATUSES = """
Exit statuses: 0 done; 1 a fault of the program; 2 wrong usage, rules or profile; 3 done, and rows were
quarantined or a file was refused; 4 stopped at the quality gate; 5 nothing to do; 6 another run holds the
store; 7 storage trouble; 8 privacy guard.
"""


class _Commands(click.Group):
    """Turns every failure into one message and its exit status; a traceback only for DEWLEDGER_DEBUG."""

    def invoke(self, context: click.Context) -> Any:
        """Run the command asked for."""
        try:
            return super().invoke(context)
        except (click.exceptions.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except DewledgerError as error:
            self._fail(context, error.exit_status, error.word, str(error))
        except KeyboardInterrupt:
            self._fail(context, 130, "interrupted", "Interrupted; the store is as it was.")
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            context.exit(0)
        except Exception as error:
            if os.environ.get("DEWLEDGER_DEBUG"):
                traceback.print_tb(error.__traceback__)
            # The error's own text may quote a row; its kind and place do not.
            place = traceback.extract_tb(error.__traceback__)[-1]
            where = f"{Path(place.filename).name}:{place.lineno}"
            told = f"A fault of the program ({type(error).__name__} at {where}); the store is as it was."
            self._fail(context, FAULT, "fault", f"{told} Run again with DEWLEDGER_DEBUG=1 and report it.")

    @staticmethod
    def _fail(context: click.Context, status: int, word: str, message: str) -> None:
        if context.meta.get("json"):
            options.print_json({"error": word, "exit_status": status, "message": message})
        console.say(f"dewledger: {message}")
        context.exit(status)


def _stop(_: int, __: FrameType | None) -> None:
    raise SystemExit(143)


@click.group(cls=_Commands, epilog=_STATUSES, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="dewledger")
def main() -> None:
    """Join the records of heated-humidified high-flow units into a monthly quality report.

    The program reports against the site's own thresholds and never advises care.
    """
    signal.signal(signal.SIGTERM, _stop)


for _command in (
    ingest.ingest,
    check.check,
    inspect.inspect,
    layout.layout,
    measure.measure,
    plan.plan,
    report.report,
    export.export,
    quarantine.quarantine,
    worklist.worklist,
    status.status,
    close.close,
    explain.explain,
    trace.trace,
    recall.recall,
    unit.unit,
    audit.audit,
    forget.forget,
    demo.demo,
    completion.completion,
):
    main.add_command(_command)

if __name__ == "__main__":
    main()
