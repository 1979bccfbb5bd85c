"""What an explanation looks like on a terminal, and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from pipeline.cases import Case, Evidence
from pipeline.console import say
from pipeline.explaining import Definition, Limit
from pipeline.findings.cautions import PSEUDONYMS


def show_list(found: list[tuple[str, str]]) -> None:
    """Print each name with its title."""
    width = max(len(name) for name, _ in found)
    for name, title in found:
        click.echo(f"{name:<{width}}  {title}")


def show(defined: Definition, limits: tuple[Limit, ...], evidence: Evidence | None, most: int) -> None:
    """Print the definition, the limits in force, the cases of a month, and the SQL."""
    click.echo(f"{defined.title} ({defined.name})\n")
    for key, text in defined.words:
        click.echo(f"{key}: {text}")
    if limits:
        click.echo("\nRules in force")
        _show_limits(limits)
    if evidence:
        _show_evidence(evidence, most)
    click.echo(f"\nRests on: {', '.join(defined.rests_on) or 'the records'}\n\n{defined.sql}")


def document(evidence: Evidence) -> dict[str, Any]:
    """Return a month's figures and cases for a JSON document."""
    return {
        "month": evidence.month,
        "as_of": f"{evidence.as_of.isoformat()}Z",
        "figures": list(evidence.figures),
        "sums": [asdict(item) for item in evidence.sums],
        "cases": [{**asdict(case), "told_at": f"{case.told_at.isoformat()}Z"} for case in evidence.cases],
    }


def _show_limits(limits: tuple[Limit, ...]) -> None:
    """Print one line per rule with each site's value beside the others'."""
    sites = list(dict.fromkeys(limit.site_id for limit in limits))
    by_rule: dict[str, dict[str, str]] = {}
    for limit in limits:
        name = f"{limit.part}.{limit.rule}" if limit.part else limit.rule
        by_rule.setdefault(name, {})[limit.site_id] = limit.value
    _print(
        ["rule", *sites], [[name, *(told.get(site, "-") for site in sites)] for name, told in by_rule.items()]
    )


def _show_evidence(evidence: Evidence, most: int) -> None:
    click.echo(f"\n{evidence.month}, as of {evidence.as_of:%Y-%m-%d %H:%M} UTC")
    for item in evidence.sums:
        left_out = ", ".join(f"{why} {count}" for why, count in item.excluded.items()) or "none"
        of_part = f", {item.part}" if item.part else ""
        click.echo(
            f"{item.site_id}{of_part}: {item.cases} cases; numerator {item.numerator:.10g},"
            f" denominator {item.denominator:.10g}; left out: {left_out}"
        )
    for figure in evidence.figures:
        click.echo("published: " + ", ".join(f"{name} {value}" for name, value in figure.items()))
    _print(
        ["site", "ward", "part", "unit", "patient", "told (UTC)", "num", "den", "why", "file:row"],
        [_cells(case) for case in evidence.cases[:most]],
    )
    if len(evidence.cases) > most:
        say(f"... and {len(evidence.cases) - most} more; --limit {len(evidence.cases)} shows all.")
    say(PSEUDONYMS)


def _cells(case: Case) -> list[str]:
    sources = ", ".join(f"{source.file}:{source.row}" for source in case.sources)
    return [
        case.site_id,
        case.ward or "-",
        case.part or "-",
        case.unit_id or "-",
        (case.patient_key or "-")[:8],
        f"{case.told_at:%Y-%m-%d %H:%M}",
        f"{case.numerator:.6g}",
        f"{case.denominator:.6g}",
        case.why,
        sources or "-",
    ]


def _print(names: list[str], rows: list[list[str]]) -> None:
    table = Table(*names, box=None, padding=(0, 2, 0, 0))
    for row in rows:
        table.add_row(*row)
    Console(highlight=False, no_color=True).print(table)
