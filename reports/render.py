"""Writes a month's report: page, board pack and workbook of each site with data, and an index of several."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline.disclosure import Left, Profile
from pipeline.errors import NothingToDo
from pipeline.findings import findings, findings_of, sites_with_data, source_of
from pipeline.findings.model import SiteFindings
from pipeline.findings.months import checked_month, month_name
from pipeline.findings.plan_tables import Plan
from pipeline.findings.shared import SharedEdition, shared_edition
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
    sites = _sites(published, month)
    with DrawingProcess() as process:
        made = []
        for site in sites:
            drawings = Drawings(process.draw, published.sites[site].zone)
            told = findings(
                published, ledger, validation, site, month, plan, poor_data, as_made=drawings.order
            )
            drawings.order_for_paper(told)
            made.append((told, drawings))
        return _write(made, month, to)


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
    sources = [source_of(published, site, month) for site in _sites(published, month)]
    return [
        shared_edition(
            findings_of(source, ledger, validation), source, profile, earlier.get(source.site_id, ()),
            is_poor=is_poor,
        )
        for source in sources
    ]  # fmt: skip


def write_shared(editions: Sequence[SharedEdition], month: str, to: Path) -> list[Path]:
    """Write ``<site>_<month>_shared`` in the same three forms, and ``index_shared.html`` for several sites."""
    with DrawingProcess() as process:
        made = []
        for told in (edition.findings for edition in editions):
            drawings = Drawings(process.draw, ZoneInfo(told.time_zone))
            drawings.order_all(told)
            made.append((told, drawings))
        return _write(made, month, to, "_shared")


def _sites(published: Published, month: str) -> list[str]:
    sites = sites_with_data(published, checked_month(month))
    if not sites:
        raise NothingToDo(f"No site has data for {month_name(month)}; there is nothing to report.")
    return sites


def _write(
    made: Sequence[tuple[SiteFindings, Drawings]], month: str, to: Path, suffix: str = ""
) -> list[Path]:
    written: dict[str, bytes] = {}
    pages = []
    for told, drawings in made:
        name = f"{quoted(told.site_id)}_{month}{suffix}"
        workbook = month_workbook(told)  # needs no drawing, so that there is time for the last ones
        written[f"{name}.html"] = render(told, drawings).encode()
        written[f"{name}.pdf"] = board_pack(told, drawings)
        written[f"{name}.xlsx"] = workbook
        pages.append((told, name))
    if len(pages) > 1:
        written[f"index{suffix}.html"] = render_index(pages, month).encode()
    for name, content in written.items():
        write_bytes(to / name, content)
    return [to / name for name in written]
