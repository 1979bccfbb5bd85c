"""Turns published measures into findings: every number with its reference, its words and its reader."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from pipeline.errors import NothingToDo
from pipeline.findings.attention import attention
from pipeline.findings.changeovers import changeovers
from pipeline.findings.compared import compared
from pipeline.findings.counts import counts
from pipeline.findings.cover import cover
from pipeline.findings.definitions import definitions, of_charts
from pipeline.findings.fresh import fresh
from pipeline.findings.life_lines import line_months, unit_lines
from pipeline.findings.measured import measures
from pipeline.findings.model import Section, SiteFindings
from pipeline.findings.months import checked_month
from pipeline.findings.overruns import overruns
from pipeline.findings.plan_tables import Plan
from pipeline.findings.purchasing import own_plan, purchasing
from pipeline.findings.quality import quality
from pipeline.findings.setup import setup
from pipeline.findings.signals_in_time import about_signals, signals_in_time
from pipeline.findings.source import Source, number
from pipeline.findings.storage import storage
from pipeline.findings.supplies import supplies
from pipeline.findings.turnaround import turnaround
from pipeline.findings.warmth import warmth
from pipeline.findings.water import water
from pipeline.findings.wording import counted, shown
from pipeline.freshness import RHYTHMS
from pipeline.measures.published import Published
from pipeline.store.ledger import LedgerEntry
from pipeline.validation import Validation

__all__ = ["findings", "findings_of", "sites_with_data", "source_of"]

#: Tables that results of earlier programs may lack.
_NEEDED = {"sensitivity", RHYTHMS}

#: The sections that need nothing but the results, in the order of the page; those after them need more.
_MADE_OF_SOURCE: tuple[Callable[[Source], Section], ...] = (
    cover, overruns, fresh, changeovers, turnaround, storage, water, warmth, setup, counts, compared,
    signals_in_time, supplies,
)  # fmt: skip


def findings(
    published: Published,
    ledger: Sequence[LedgerEntry],
    validation: Sequence[Validation],
    site_id: str,
    month: str,
    plan: Plan | None = None,
    poor_data: Sequence[str] = (),
    *,
    as_made: Callable[[Section], None] = lambda _: None,
) -> SiteFindings:
    """Return what a site's page of a month says.

    ``plan`` are the planning tables that stand, ``poor_data`` the faults that the gate was overridden for;
    ``as_made`` is called with each section while the next ones are still to be made.

    Raises UsageError for a month that is none, NothingToDo for a site that is not in the results,
    or for results of an earlier program.
    """
    source = source_of(published, site_id, month)
    return findings_of(source, ledger, validation, plan, poor_data, as_made=as_made)


def source_of(published: Published, site_id: str, month: str) -> Source:
    """Return a site's results as a month's report sees them; raises what `findings` does."""
    checked_month(month)
    if site_id not in published.sites:
        raise NothingToDo(f"There are no results for the site '{site_id}'.")
    if not published.tables.keys() >= _NEEDED:
        raise NothingToDo("The results were measured by an earlier program; run 'dewledger measure' again.")
    return Source(published, site_id, month)


def findings_of(
    source: Source,
    ledger: Sequence[LedgerEntry],
    validation: Sequence[Validation],
    plan: Plan | None = None,
    poor_data: Sequence[str] = (),
    *,
    as_made: Callable[[Section], None] = lambda _: None,
) -> SiteFindings:
    """Return the same from a site's results that were read already."""
    published = source.published
    others = tuple(f"{site}, " for site in published.sites if site != source.site_id)
    own_faults = [fault for fault in poor_data if not fault.startswith(others)]
    measured, planned = measures(source), own_plan(source, plan or {})
    sections = []
    for section in _sections(source, ledger, validation, planned):
        as_made(section)
        sections.append(section)
    return SiteFindings(
        site_id=source.site_id,
        month=source.month,
        as_of=published.as_of,
        time_zone=source.rules.time_zone,
        run_id=published.run_id,
        scope=_scope(source),
        signals=about_signals(source),
        attention=attention(source, measured, planned, own_faults),
        measures=measured,
        sections=tuple(sections),
        definitions=(of_charts(source.rules), *definitions(source.models)),
        line_months=line_months(source),
        lines=unit_lines(source),
    )


def _sections(
    source: Source, ledger: Sequence[LedgerEntry], validation: Sequence[Validation], planned: Plan
) -> Iterator[Section]:
    """Yield the sections of the page, in its order."""
    for make in _MADE_OF_SOURCE:
        yield make(source)
    yield purchasing(source, planned)
    yield quality(source, ledger, validation)


def sites_with_data(published: Published, month: str) -> list[str]:
    """Return the sites that have a row in some monthly table of the month, in order."""
    found: set[str] = set()
    for name in sorted(published.tables):
        if name.endswith("_monthly"):
            found |= set(published.read(name).filter(month=month)["site_id"])
    return sorted(found & published.sites.keys())


def _scope(source: Source) -> str:
    """Say what the page rests on, in one line."""
    water_row = source.now("water_monthly")
    stays = source.in_month("patient_stays", "started_at")
    units = source.facts("patient_stays")["unit_id"].n_unique()
    wards = source.by_ward("part_cover_monthly")["ward"].n_unique()
    days = number(water_row.get("therapy_days"))
    told = [
        counted(wards, "ward"),
        f"{counted(units, 'unit')} with a patient on record so far",
        f"{counted(stays.height, 'stay')} begun",
    ]
    if days is not None:
        told.append(f"{shown(days, 'number')} therapy days")
    return " · ".join(told)
