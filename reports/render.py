"""Writes a month's report: page, board pack and workbook of each site with data, and an index of several."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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
from reports.board_pack import board_pack
from reports.drawing_process import DrawingProcess
from reports.drawings import Drawings
from reports.month_workbook import month_workbook
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
    """Write ``<site>_<month>`` as page, board pack and workbook for each site, and ``index.html`` of several.

    ``plan`` are the planning tables that stand, ``poor_data`` the faults for which the quality gate was overridden;
    the pages say so. Raises UsageError for a month that is none and NothingToDo when no site has data in it.
    """
    told = (
        findings(published, ledger, validation, site, month, plan, poor_data)
        for site in _sites(published, month)
    )
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
    """Write ``<site>_<month>_shared`` in the same three forms, and ``index_shared.html`` for several sites."""
    return _write((edition.findings for edition in editions), month, to, "_shared")


def _sites(published: Published, month: str) -> list[str]:
    sites = sites_with_data(published, checked_month(month))
    if not sites:
        raise NothingToDo(f"No site has data for {month_name(month)}; there is nothing to report.")
    return sites


def _write(told: Iterable[SiteFindings], month: str, to: Path, suffix: str = "") -> list[Path]:
    written: dict[str, bytes] = {}
    pages = []
    with DrawingProcess() as process:
        # The charts of one site are drawn while the findings of the next are made.
        for item, drawn in [(item, Drawings(item, process.draw)) for item in told]:
            name = f"{quoted(item.site_id)}_{month}{suffix}"
            workbook = month_workbook(item)
            written[f"{name}.html"] = render(item, drawn).encode()
            written[f"{name}.pdf"] = board_pack(item, drawn)
            written[f"{name}.xlsx"] = workbook
            pages.append((item, name))
    if len(pages) > 1:
        written[f"index{suffix}.html"] = render_index(pages, month).encode()
    for name, content in written.items():
        write_bytes(to / name, content)
    return [to / name for name in written]
