"""What a measure means, the limits in force, and the rows behind a month's figure, down to file and row.

The words are those of the header of the SQL that computes it. The rows come from ``sql/traces``: one model per
measure, which lists each case with what it adds to the numerator and the denominator, and why.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from pipeline.errors import NothingToDo, UsageError
from pipeline.measures.in_memory import measured, models_behind
from pipeline.measures.published import Published, published_models
from pipeline.measures.sql_files import LAYERS, Model
from pipeline.site_rules import PartRule, SiteRules
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry

#: Made for an explanation only: where rows stand in the exports, then the cases of each measure.
TRACES = ("sources", "traces")

#: Which column of `run.settings` carries a rule, where it has another name.
_CARRIED_BY = {
    "grace_h": "grace",
    "charting_slack_min": "charting_slack",
    "prep_window_h": "prep_window",
    "stay_gap_h": "stay_gap",
    "clock_slack_min": "clock_slack",
    "max_storage_days": "max_storage",
    "max_sample_gap_min": "max_sample_gap",
    "uncharted_use_min": "uncharted_use_s",
    "turnaround_target_h": "turnaround_target_s",
    "min_cycle_min": "min_cycle_s",
    "hold_c": "hold_centi_c",
    "hold_min": "hold_s",
    "census_time": "census_at",
    "flow_reference": "ng_per_l",
    "inlet_humidity_mg_l": "ng_per_l",
}
_NO_LIMITS = {"site_id", "parts", "coverage", "currency", "time_zone", "max_quarantined_pct"}


@dataclass(frozen=True)
class Definition:
    """A published table in words: the lines of its header by key, and its SQL."""

    name: str
    title: str
    words: tuple[tuple[str, str], ...]
    rests_on: tuple[str, ...]
    sql: str


@dataclass(frozen=True)
class Limit:
    """A rule in force at a site, as text; ``part`` where it is one of a part."""

    site_id: str
    part: str
    rule: str
    value: str


@dataclass(frozen=True)
class SourceRow:
    """A row of an export; its number counts the header as 1."""

    table: str
    file: str
    row: int


@dataclass(frozen=True)
class Case:
    """One row behind a figure, and what it adds to numerator and denominator; in neither it is left out."""

    site_id: str
    ward: str | None
    part: str | None
    unit_id: str | None
    patient_key: str | None
    told_at: datetime
    numerator: float
    denominator: float
    why: str
    sources: tuple[SourceRow, ...]

    @property
    def is_excluded(self) -> bool:
        """Whether the case counts for nothing."""
        return not self.numerator and not self.denominator


@dataclass(frozen=True)
class Sum:
    """The cases of one site and part (or step): what they add up to, and those left out by reason."""

    site_id: str
    part: str | None
    cases: int
    numerator: float
    denominator: float
    excluded: dict[str, int]


@dataclass(frozen=True)
class Evidence:
    """A month's figures as published, and the cases that they come from."""

    month: str
    as_of: datetime
    figures: tuple[dict[str, Any], ...]
    sums: tuple[Sum, ...]
    cases: tuple[Case, ...]


def explained() -> list[tuple[str, str]]:
    """Return the name and title of everything that can be explained, in order."""
    return [(model.name, model.text("title")) for model in published_models()]


def definition(name: str) -> Definition:
    """Return what a published table means; raise UsageError, with what was meant, for an unknown one."""
    model = _model(name)
    words = tuple(
        (key, text)
        for key, lines in model.header.items()
        if key not in ("title", "reads", "hidden", "section")
        for text in lines
    )
    behind = tuple(item.table for item in models_behind(model.table) if item.table != model.table)
    sql = model.sql.partition("\n\n")[2].strip()
    return Definition(model.name, model.text("title"), words, behind, sql)


def limits_in_force(name: str, sites: dict[str, SiteRules]) -> tuple[Limit, ...]:
    """Return the sites' rules that a table depends on, directly or through what it rests on."""
    behind = models_behind(_model(name).table)
    text = "\n".join(model.sql for model in behind)
    named = [
        item.name
        for item in fields(SiteRules)
        if item.name not in _NO_LIMITS and re.search(rf"\b{_CARRIED_BY.get(item.name, item.name)}\b", text)
    ]
    # Coverage reads them for every table; that makes no measure one of parts.
    by_part = any("run.part_rules" in model.reads for model in behind if model.layer in LAYERS[2:])
    found = [
        Limit(site, "", rule, _shown(getattr(rules, rule))) for site, rules in sites.items() for rule in named
    ]
    found += [
        Limit(site, part, item.name, _shown(getattr(rule, item.name)))
        for site, rules in sites.items()
        for part, rule in sorted(rules.parts.items())
        for item in fields(PartRule)
        if by_part and item.name != "part"
    ]
    return tuple(found)


def evidence(
    store: Store,
    published: Published,
    ledger: list[LedgerEntry],
    name: str,
    month: str,
    site: str | None,
    ward: str | None,
) -> Evidence:
    """Return a month's figures and the cases behind them; raise NothingToDo when there are none."""
    trace = f"traces.{_model(name).name}"
    models = models_behind(trace, layers=(*LAYERS, *TRACES))
    if not models:
        raise UsageError(f"'{name}' is a table of cases itself; see its rows with 'dewledger export'.")
    files = {entry.sha256: entry.name for entry in ledger}
    with measured(store, published.as_of, models) as (connection, _):
        names = [item.name for item in fields(Case)]
        query = f"select {', '.join(names)} from {trace} where month = ? order by all"
        rows = connection.execute(query, [month]).fetchall()
    cases = tuple(
        case for row in rows if _wanted(case := _case(dict(zip(names, row, strict=True)), files), site, ward)
    )
    if not cases:
        raise NothingToDo(f"{name} has no row in {month} for what was asked.")
    cases = tuple(sorted(cases, key=lambda case: (-bool(case.numerator), case.is_excluded, case.told_at)))
    figures = published.read(name).filter(month=month).to_dicts()
    shown = [row for row in figures if _is_same(row["site_id"], site) and _is_same(row["ward"], ward or "*")]
    return Evidence(month, published.as_of, tuple(shown), _sums(cases), cases)


def _model(name: str) -> Model:
    models = {model.name: model for model in published_models()}
    if name in models:
        return models[name]
    close = difflib.get_close_matches(name, models, n=1)
    hint = f"Did you mean '{close[0]}'?" if close else "See them all with 'dewledger explain --list'."
    raise UsageError(f"'{name}' is no measure. {hint}")


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return "unset" if value is None else f"{value:g}" if isinstance(value, int | float) else str(value)


def _case(row: dict[str, Any], files: dict[str, str]) -> Case:
    told = row.pop("sources") or []
    sources = [SourceRow(item["table_name"], files[item["file_sha256"]], item["source_row"]) for item in told]
    numbers = {name: float(row[name]) for name in ("numerator", "denominator")}
    return Case(**{**row, **numbers, "sources": tuple(dict.fromkeys(sources))})


def _wanted(case: Case, site: str | None, ward: str | None) -> bool:
    return _is_same(case.site_id, site) and _is_same(case.ward, ward)


def _is_same(value: str | None, wanted: str | None) -> bool:
    return wanted is None or (value or "").casefold() == wanted.strip().casefold()


def _sums(cases: tuple[Case, ...]) -> tuple[Sum, ...]:
    keys = sorted({(case.site_id, case.part) for case in cases}, key=lambda key: (key[0], key[1] or ""))
    found = []
    for site, part in keys:
        own = [case for case in cases if (case.site_id, case.part) == (site, part)]
        excluded = Counter(case.why for case in own if case.is_excluded)
        found.append(
            Sum(
                site_id=site,
                part=part,
                cases=len(own),
                numerator=sum(case.numerator for case in own),
                denominator=sum(case.denominator for case in own),
                excluded=dict(sorted(excluded.items())),
            )
        )
    return tuple(found)
