"""The command line: what each command takes and says. Heavy libraries load inside the commands only."""

from __future__ import annotations

import json
import os
import signal
import sys
import traceback
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

import click

from pipeline import __version__, console
from pipeline.errors import FAULT, QUARANTINED, DewledgerError, worst

SCHEMA_VERSION = 1
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
                traceback.print_exc()
            # The error's own text may quote a row; its kind and place do not.
            place = traceback.extract_tb(error.__traceback__)[-1]
            where = f"{Path(place.filename).name}:{place.lineno}"
            told = f"A fault of the program ({type(error).__name__} at {where}); the store is as it was."
            self._fail(context, FAULT, "fault", f"{told} Run again with DEWLEDGER_DEBUG=1 and report it.")

    @staticmethod
    def _fail(context: click.Context, status: int, word: str, message: str) -> None:
        if context.meta.get("json"):
            _print_json({"error": word, "exit_status": status, "message": message})
        console.say(f"dewledger: {message}")
        context.exit(status)


def _note_json(context: click.Context, _: click.Parameter, value: bool) -> bool:
    context.meta["json"] = value
    return value


def _print_json(document: dict[str, Any]) -> None:
    click.echo(json.dumps({"schema_version": SCHEMA_VERSION, **document}, default=str, ensure_ascii=False))


_json = click.option(
    "--json", "as_json", is_flag=True, is_eager=True, callback=_note_json, help="Print one JSON object."
)
_store = click.option(
    "--store", "store_path", required=True, type=click.Path(path_type=Path), help="The store's folder."
)
_to = click.option("--to", required=True, type=click.Path(path_type=Path, file_okay=False), help="Where to write.")
_as_of = click.option("--as-of", help="Instant the measures stand for, such as 2026-11-01T00:00:00Z.")
_month = click.option("--month", required=True, help="Month of the report, such as 2026-10.")
_allow = click.option("--allow-poor-data", is_flag=True, help="Publish in spite of the quality gate, and say so.")


def _stop(_: int, __: FrameType | None) -> None:
    raise SystemExit(143)


@click.group(cls=_Commands, epilog=_STATUSES, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="dewledger")
def main() -> None:
    """Join the records of heated-humidified high-flow units into a monthly quality report.

    The program reports against the site's own thresholds and never advises care.
    """
    signal.signal(signal.SIGTERM, _stop)


@main.command()
@_store
@click.option("--site", help="Site of rows that name none.")
@click.option("--rules", type=click.Path(path_type=Path), help="The site's rules (TOML); kept in the store.")
@click.option("--profile", type=click.Path(path_type=Path), help="How to read these exports (TOML).")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@_json
def ingest(
    store_path: Path, site: str | None, rules: Path | None, profile: Path | None, paths: tuple[Path, ...], as_json: bool
) -> None:
    """Read exports into the store, row by row: accepted, duplicate, skipped or quarantined."""
    from pipeline import run

    report = run.ingest(store_path, list(paths), site, rules, profile, datetime.now(UTC), quiet=as_json)
    if as_json:
        _print_json(report.as_json())
    else:
        console.show_ingest(report)
    if any(file.quarantined or file.refused for file in report.files):
        click.get_current_context().exit(worst([QUARANTINED]))


@main.command()
@_store
@_as_of
@_json
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
        _print_json(document)
    else:
        console.say(f"Measured {len(results.tables)} tables of {len(results.sites)} site(s) as of {document['as_of']}.")


@main.command()
@_store
@_to
@click.option("--format", "file_format", type=click.Choice(["csv", "parquet"]), default="csv", show_default=True)
@_json
def export(store_path: Path, to: Path, file_format: str, as_json: bool) -> None:
    """Write every measured table that has rows, and the quarantine, one file each."""
    from pipeline import run

    files = run.export(store_path, to, file_format)
    if as_json:
        _print_json({"files": [path.name for path in files], "to": str(to)})
    else:
        console.say(f"Wrote {len(files)} files to {to}.")


@main.command()
@_store
@_month
@_to
@_allow
@_json
def report(store_path: Path, month: str, to: Path, allow_poor_data: bool, as_json: bool) -> None:
    """Render the month's report, one page per site."""
    from pipeline import run

    pages = run.report(store_path, month, to, allow_poor_data)
    if as_json:
        _print_json({"month": month, "files": [str(path) for path in pages]})
    else:
        console.show_pages(pages)


@main.command()
@_store
@click.option("--limit", default=50, show_default=True, type=click.IntRange(1), help="Rows to show; all in --json.")
@_json
def quarantine(store_path: Path, limit: int, as_json: bool) -> None:
    """List the rows that were not accepted, with file, row and reasons."""
    from pipeline import run

    rows = run.quarantine(store_path)
    if as_json:
        _print_json({"rows": rows.to_dicts()})
    else:
        console.show_quarantine(rows, limit)


@main.command()
@_to
@click.option("--months", default=18, show_default=True, type=click.IntRange(1, 60), help="Months to invent.")
@click.option("--units", default=60, show_default=True, type=click.IntRange(4, 600), help="Units over both sites.")
@click.option("--sample-minutes", default="5", show_default=True, type=click.Choice(["1", "5"]))
@_json
def demo(to: Path, months: int, units: int, sample_minutes: str, as_json: bool) -> None:
    """Make the invented Tarnholt hospitals, ingest, measure and render them."""
    from pipeline import run

    pages = run.demo(to, months, units, int(sample_minutes), datetime.now(UTC), quiet=as_json)
    if as_json:
        _print_json({"files": [str(path) for path in pages]})
    else:
        console.show_pages(pages)


@main.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print the shell's completion script; add it to the shell's start-up file."""
    from click.shell_completion import get_completion_class

    found = get_completion_class(shell)
    assert found is not None  # the choice above holds only shells that click knows
    click.echo(found(main, {}, "dewledger", "_DEWLEDGER_COMPLETE").source())


if __name__ == "__main__":
    main()
