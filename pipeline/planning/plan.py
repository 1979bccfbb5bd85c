"""Plans of every site in a store, with other plans beside them, published as the one that stands."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from pipeline import __version__
from pipeline.errors import NothingToDo, UsageError
from pipeline.measures.published import Published, published
from pipeline.planning.assumptions import Assumptions, Change, cautions, changed
from pipeline.planning.projection import items_of
from pipeline.planning.records import TABLES, SiteRecords, site_records
from pipeline.planning.remeasure import remeasured
from pipeline.planning.site_plan import SitePlan, site_plan
from pipeline.planning.standing import CURRENT, folder_of
from pipeline.site_rules import SiteRules
from pipeline.store.layout import Store
from pipeline.store.parquet import remove_stray_temporaries, write_bytes, write_frame

AS_NOW, ALL_CHANGES = "as now", "all changes"


@dataclass(frozen=True)
class Plan:
    """The tables of all sites, as they would be exported, with cautions about what was tried."""

    as_of: datetime
    sites: Mapping[str, SiteRules]
    tables: Mapping[str, pl.DataFrame]
    cautions: tuple[str, ...] = ()


def make_plan(store: Store, months: int, changes: Sequence[Change] = ()) -> Plan:
    """Plan the months to come for every site and publish it; compare it with plans in which rules differ.

    Raises NothingToDo when no site has stays, items or stock to plan from.
    """
    results = published(store)
    tables = {name: results.read(name) for name in TABLES if name in results.tables}
    if len(tables) < len(TABLES):
        raise NothingToDo("The results were measured by an earlier program; run 'dewledger measure' again.")
    if not any(tables[name].height for name in ("stay_parts", "purchase_items", "stock_ledger")):
        raise NothingToDo("The store holds no stays, items or stock movements to plan from.")
    _check(changes, tables)
    base = {site: _planned(results, tables, site, (), months) for site in sorted(results.sites)}
    together = {
        name: _together(site.tables[name] for site in base.values() if name in site.tables)
        for name in _names(base)
    }
    if changes:
        together["plan_comparison"] = _comparison(store, results, tables, base, changes, months)
    told = [
        f"{site}: {words}"
        for site, rules in sorted(results.sites.items())
        for words in cautions(rules, changes)
    ]
    plan = Plan(results.as_of, results.sites, together, tuple(told))
    _publish(store, results, plan, months, changes)
    return plan


def side_by_side(comparison: pl.DataFrame) -> pl.DataFrame:
    """Return the measures of one site as rows and its plans as columns, in the order in which they were tried."""
    return comparison.pivot("plan", index=["measure", "unit"], values="value", maintain_order=True)


def _planned(
    results: Published, tables: Mapping[str, pl.DataFrame], site: str, changes: Sequence[Change], months: int
) -> SitePlan:
    records = site_records(site, results.sites[site], results.as_of, tables)
    return site_plan(records, _assumed(records, changes), months)


def _assumed(records: SiteRecords, changes: Sequence[Change]) -> Assumptions:
    assumed = Assumptions(records.rules, items_of(records))
    for change in changes:
        assumed = changed(assumed, change)
    return assumed


def _comparison(
    store: Store,
    results: Published,
    tables: Mapping[str, pl.DataFrame],
    base: Mapping[str, SitePlan],
    changes: Sequence[Change],
    months: int,
) -> pl.DataFrame:
    """Return a row per site, plan and measure: the plan as now, with each change alone, and with all."""
    tried: dict[str, tuple[Change, ...]] = {str(change): (change,) for change in changes}
    if len(changes) > 1:
        tried[ALL_CHANGES] = tuple(changes)
    rows = [row for site in base.values() for row in _rows(site, site, AS_NOW)]
    known: dict[tuple[Change, ...], Mapping[str, pl.DataFrame]] = {(): tables}
    for name, together in tried.items():
        anew = tuple(change for change in together if change.needs_measuring)
        if anew not in known:
            rules = {site: _changed_rules(results.sites[site], anew) for site in results.sites}
            known[anew] = remeasured(store, rules, results.as_of)
        for site in sorted(results.sites):
            rows += _rows(_planned(results, known[anew], site, together, months), base[site], name)
    return pl.DataFrame(rows, infer_schema_length=None)


def _changed_rules(rules: SiteRules, changes: Sequence[Change]) -> SiteRules:
    assumed = Assumptions(rules, ())
    for change in changes:
        assumed = changed(assumed, change)
    return assumed.rules


def _rows(plan: SitePlan, base: SitePlan, name: str) -> list[dict[str, object]]:
    return [
        {
            "site_id": plan.site_id,
            "plan": name,
            "measure": measure,
            "unit": unit,
            "value": value,
            "difference": None
            if value is None or (now := base.figures.get((measure, unit))) is None
            else value - now,
        }
        for (measure, unit), value in plan.figures.items()
    ]


def _check(changes: Sequence[Change], tables: Mapping[str, pl.DataFrame]) -> None:
    """Refuse a change about an item or a ward that no site has."""
    items = set(tables["purchase_items"]["item_id"])
    wards = set(tables["stay_parts"]["ward"].drop_nulls())
    for change in changes:
        item = change.key.removeprefix("items.").rpartition(".")[0]
        if change.key.startswith("items.") and item not in items:
            raise UsageError(
                f"--set {change}: no item '{item}' is on record. Known: {', '.join(sorted(items))}."
            )
        if change.key == "ward.closed" and change.value not in wards:
            raise UsageError(
                f"--set {change}: no ward '{change.value}' is on record. Known: {', '.join(sorted(wards))}."
            )


def _names(base: Mapping[str, SitePlan]) -> list[str]:
    return sorted({name for site in base.values() for name in site.tables})


def _together(tables: Iterable[pl.DataFrame]) -> pl.DataFrame:
    return pl.concat(tables, how="vertical_relaxed")


def _publish(store: Store, results: Published, plan: Plan, months: int, changes: Sequence[Change]) -> None:
    digest = hashlib.sha256(
        "\0".join([__version__, results.run_id, str(months), *map(str, changes)]).encode()
    )
    folder, run_id = folder_of(store), digest.hexdigest()[:16]
    remove_stray_temporaries(folder)
    for name, rows in sorted(plan.tables.items()):
        write_frame(folder / run_id / f"{name}.parquet", rows)
    page = {"run_id": run_id, "measured": results.run_id, "months": months, "tables": sorted(plan.tables)}
    write_bytes(folder / CURRENT, json.dumps(page, indent=1).encode())
    for old in sorted(folder.iterdir()):
        if old.is_dir() and old.name != run_id:
            shutil.rmtree(old, ignore_errors=True)
