"""`dewledger trace`"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.commands import options
from pipeline.errors import UsageError
from pipeline.tracing import options as tracing


@click.command()
@options.store
@click.option("--patient", help="A patient's reference or key; '-' reads it from standard input.")
@click.option("--unit", help="A unit's number.")
@click.option("--lot", help="A lot as printed, or the pack's GS1 label.")
@click.option("--cycle", help="A disinfection cycle that is in doubt: its number, or UNIT@START.")
@tracing.site
@tracing.from_day
@tracing.until_day
@options.as_of
@click.option(
    "--min-a0", type=click.FloatRange(min=0), help="Judge cycles by this A0 in seconds (moist heat only)."
)
@click.option("--without-cycle", multiple=True, help="Judge as if this cycle were not good; may be repeated.")
@tracing.reveal
@tracing.reason
@tracing.folder
@options.as_json
def trace(
    store_path: Path,
    patient: str | None,
    unit: str | None,
    lot: str | None,
    cycle: str | None,
    site: str | None,
    from_day: str | None,
    until_day: str | None,
    as_of: str | None,
    min_a0: float | None,
    without_cycle: tuple[str, ...],
    reveal: bool,
    reason: str | None,
    to: Path | None,
    as_json: bool,
) -> None:
    """Who used a unit after, and who before, with no valid disinfection known between.

    Name one of --patient, --unit, --lot and --cycle. --from and --until limit the stays asked about, not who is
    linked to them. Check the records of each person named; the list is where to start, and whoever is missing
    from it is not cleared.
    """
    from pipeline import run
    from pipeline.instants import parse_instant
    from pipeline.tracing.documents import trace_document
    from pipeline.tracing.period import Period
    from pipeline.tracing.terminal import show
    from pipeline.tracing.trace import Question

    named = [
        (kind, text)
        for kind, text in (("patient", patient), ("unit", unit), ("lot", lot), ("cycle", cycle))
        if text
    ]
    if len(named) != 1:
        raise UsageError("Name one of --patient, --unit, --lot and --cycle.")
    kind, text = named[0]
    question = Question(
        kind,
        tracing.reference(text) if kind == "patient" else text,
        site,
        Period(from_day, until_day),
        parse_instant(as_of) if as_of else None,
        min_a0,
        without_cycle,
    )
    found, answer, files = run.trace(store_path, question, tracing.checked_reason(reveal, reason), to)
    if as_json:
        options.print_json({**trace_document(found), "files": [str(path) for path in files]})
    else:
        show(answer, ("linked", "not_judged"), files)
