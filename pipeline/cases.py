"""The cases behind a month's figure, down to file and row.

They come from ``sql/traces``: one model per measure, which lists each case with what it adds to the numerator
and the denominator, and why. ``sql/sources`` tells where the records of a case stand in the exports.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from pipeline.errors import NothingToDo, UsageError
from pipeline.explaining import model_of
from pipeline.measures.in_memory import measured, models_behind
from pipeline.measures.published import Published
from pipeline.measures.sql_files import LAYERS
from pipeline.store.layout import Store
from pipeline.store.ledger import LedgerEntry

#: Made for an explanation only: where rows stand in the exports, then the cases of each measure.
TRACES = ("sources", "traces")


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
    trace = f"traces.{model_of(name).name}"
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
    cases = tuple(sorted(cases, key=lambda case: (-bool(case.numerator), case.is_excluded, case.told_at)))
    figures = published.read(name).filter(month=month).to_dicts()
    shown = [row for row in figures if _is_same(row["site_id"], site) and _is_same(row["ward"], ward or "*")]
    if not cases and not shown:
        raise NothingToDo(f"{name} has no row in {month} for what was asked.")
    return Evidence(month, published.as_of, tuple(shown), _sums(cases), cases)


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
