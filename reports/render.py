"""Writes a month's pages: one for each site with data, and an index when there are several."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from pipeline.disclosure import Left, Profile
from pipeline.errors import NothingToDo
from pipeline.findings import findings, sites_with_data
from pipeline.findings.model import SiteFindings
from pipeline.findings.months import checked_month, month_name
from pipeline.findings.plan_tables import Plan
from pipeline.findings.shared import SharedEdition, shared_edition
from pipeline.findings.source import Source
from pipeline.measures.published import Published
from pipeline.store.layout import quoted
from pipeline.store.ledger import LedgerEntry
from pipeline.store.parquet import write_bytes
from pipeline.validation import Validation
from reports.page import render, render_index


def write_reports(
    published: Published,
    ledger: Sequence[LedgerEntry],
    validation: Sequence[Validation],
    month: str,
    to: Path,
    *,
    plan: Plan,
    poor_data: Sequence[str],
) -> list[Path]:
    """Write ``<site>_<month>.html`` for each site with data in the month, and ``index.html`` for several.

    ``plan`` are the planning tables that stand, ``poor_data`` the faults for which the quality gate was overridden;
    the pages say so. Raises UsageError for a month that is none and NothingToDo when no site has data in it.
    """
    told = [
        findings(published, ledger, validation, site, month, plan, poor_data)
        for site in _sites(published, month)
    ]
    return _write(told, month, to)


def shared_editions(
    published: Published,
    ledger: Sequence[LedgerEntry],
    validation: Sequence[Validation],
    month: str,
    profile: Profile,
    earlier: Mapping[str, Sequence[Left]],
    *,
    is_poor: bool,
) -> list[SharedEdition]:
    """Return what may leave the team of each site with data; ``earlier`` is what has left before, by site."""
    return [
        shared_edition(
            findings(published, ledger, validation, site, month),
            Source(published, site, month),
            profile,
            earlier.get(site, ()),
            is_poor=is_poor,
        )
        for site in _sites(published, month)
    ]


def write_shared(editions: Sequence[SharedEdition], month: str, to: Path) -> list[Path]:
    """Write ``<site>_<month>_shared.html`` for each site, and ``index_shared.html`` for several."""
    return _write([edition.findings for edition in editions], month, to, "_shared")


def _sites(published: Published, month: str) -> list[str]:
    sites = sites_with_data(published, checked_month(month))
    if not sites:
        raise NothingToDo(f"No site has data for {month_name(month)}; there is nothing to report.")
    return sites


def _write(told: list[SiteFindings], month: str, to: Path, suffix: str = "") -> list[Path]:
    pages = [(item, f"{quoted(item.site_id)}_{month}{suffix}.html") for item in told]
    written = [(to / name, render(item)) for item, name in pages]
    if len(pages) > 1:
        written.append((to / f"index{suffix}.html", render_index(pages, month)))
    for path, text in written:
        write_bytes(path, text.encode())
    return [path for path, _ in written]
