"""The quality gate (contract section 3): whether a month's data are good enough to publish a report from.

Per table, site and month: too large a share of rows in quarantine, or an expected table that is missing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date, datetime
from typing import NoReturn
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.errors import QualityGate
from pipeline.ingest.kept_times import local_months
from pipeline.ingest.quarantine import listing
from pipeline.ingest.repair_sheet import kept_profile
from pipeline.measures.published import Published
from pipeline.records import TABLES
from pipeline.store.contested import instant
from pipeline.store.layout import Store
from pipeline.store.ledger import ALWAYS, LedgerEntry, StoredPart

#: A table and a month, as text such as ``2026-10``, or `ALWAYS` for what has no month.
TableMonth = tuple[str, str]

#: Written when something happens, not every month: nothing in a month means that nothing happened.
IRREGULAR = ("cycle_temperatures", "unit_status")


def faults(store: Store, published: Published, ledger: list[LedgerEntry], month: str) -> list[str]:
    """Return what stands against a report of the month, one sentence each, in order; none when all is well.

    A month that the results do not reach has no faults: there is nothing to report on.
    """
    return verdicts(store, published, ledger, [month])[month]


def verdicts(
    store: Store, published: Published, ledger: list[LedgerEntry], months: Iterable[str]
) -> dict[str, list[str]]:
    """Return the faults of each month; see `faults`."""
    found: dict[str, list[str]] = {month: [] for month in months}
    quarantined = listing(store)
    for site, rules in published.sites.items():
        kept_out = _kept_out(store, quarantined, ledger, site, rules.zone)
        accepted = accepted_rows(ledger, site, rules.zone)
        reached = f"{_local(published.as_of, rules.zone):%Y-%m}"
        for month in (name for name in found if name <= reached):
            found[month] += _poor_tables(site, month, kept_out, accepted, rules.max_quarantined_pct)
            found[month] += [
                f"{site}, {table}: no rows for {month}, though {told} of {past} earlier months have some."
                for table, told, past in missing_tables(published, accepted, site, month)
            ]
    return {month: sorted(sentences) for month, sentences in found.items()}


def stop_at(found: list[str]) -> NoReturn:
    """Stop at the gate, saying why and how to go on."""
    listed = "\n".join(f"  {fault}" for fault in found)
    raise QualityGate(
        f"Stopped at the quality gate; no report was written.\n{listed}\n"
        "Mend the exports and ingest them again ('dewledger quarantine' lists the rows), or publish in spite "
        "of it with --allow-poor-data; the report will say so."
    )


def missing_tables(
    published: Published, accepted: Counter[TableMonth], site: str, month: str
) -> list[tuple[str, int, int]]:
    """Return the expected tables without rows in the month, with the earlier months that have some, of all.

    Expected is what had rows in at least half of the site's months since its first. A month that the rules
    declare covered is not missing; the month of as_of gets no benefit of the doubt here, unlike in coverage.
    ``accepted`` are the site's rows as `accepted_rows` counts them.
    """
    covered = published.read("covered_months").filter(site_id=site)
    found = []
    for table in sorted(name for name, table in TABLES.items() if table.time and name not in IRREGULAR):
        of_table = covered.filter(table_name=table)
        declared = set(of_table.filter("declared")["month"])
        past = sorted(name for name in of_table.filter(~pl.col("declared"))["month"] if name < month)
        if past and month not in declared and not accepted[table, month]:
            since_first = _months_between(past[0], month)
            if 2 * len(past) >= since_first:
                found.append((table, len(past), since_first))
    return found


def accepted_rows(ledger: list[LedgerEntry], site: str, zone: ZoneInfo) -> Counter[TableMonth]:
    """Count a site's stored rows by table and month."""
    counts: Counter[TableMonth] = Counter()
    for entry in ledger:
        for part in entry.parts:
            if part.site_id == site:
                counts[entry.table, _month_of(part, zone)] += part.rows
    return counts


def _poor_tables(
    site: str, month: str, kept_out: Counter[TableMonth], accepted: Counter[TableMonth], most_pct: float
) -> list[str]:
    found = []
    for table in sorted({table for table, _ in kept_out}):
        counted = (month, ALWAYS)
        bad = sum(kept_out[table, name] for name in counted)
        rows = bad + sum(accepted[table, name] for name in counted)
        if rows and 100 * bad > most_pct * rows:
            found.append(
                f"{site}, {table}: {bad} of {rows} rows of {month} ({_percent(bad, rows)}) are"
                f" in quarantine; the site allows {most_pct:g} %."
            )
    return found


def _percent(part: int, whole: int) -> str:
    """Return a share as it reads: three figures, so that 1.04 % is not taken for the 1 % that is allowed.

    >>> _percent(120, 120), _percent(26, 2500), _percent(2, 9)
    ('100 %', '1.04 %', '22.2 %')
    """
    return f"{100 * part / whole:.3g} %"


def _kept_out(
    store: Store, quarantined: pl.DataFrame, ledger: list[LedgerEntry], site: str, zone: ZoneInfo
) -> Counter[TableMonth]:
    """Count a site's quarantined rows by table and month.

    A row belongs to the month of its own time, else to each month of its file; one without any, and a table
    without times, to every month. Its site is the one it names, else each of its file.
    """
    entries = {entry.sha256: entry for entry in ledger}
    counts: Counter[TableMonth] = Counter()
    for (sha256, table), rows in quarantined.partition_by("sha256", "table", as_dict=True).items():
        parts = entries[str(sha256)].parts
        own = [part for part in parts if part.site_id == site]
        belongs = _named_site(rows) == site.lower()
        mine = rows.filter(belongs.fill_null(bool(own) or not parts))
        months = sorted({_month_of(part, zone) for part in own}) or [ALWAYS]
        profile = kept_profile(store, entries[str(sha256)])
        told = local_months(mine, TABLES[str(table)], profile, zone.key)
        for month, count in Counter(told).items():
            for name in [month] if month else months:
                counts[str(table), name] += count
    return counts


def _named_site(rows: pl.DataFrame) -> pl.Series:
    return rows["raw"].str.json_path_match("$.site_id").str.strip_chars().replace("", None).str.to_lowercase()


def _month_of(part: StoredPart, zone: ZoneInfo) -> str:
    """Return the local month of a part, where it lies in one; else the UTC month that it is stored under."""
    first, last = instant(part.first_at), instant(part.last_at)
    if first and last and f"{_local(first, zone):%Y-%m}" == (local := f"{_local(last, zone):%Y-%m}"):
        return local
    return part.month


def _local(utc: datetime, zone: ZoneInfo) -> datetime:
    return utc.replace(tzinfo=ZoneInfo("UTC")).astimezone(zone)


def _months_between(first: str, last: str) -> int:
    start, end = (date.fromisoformat(f"{name}-01") for name in (first, last))
    return (end.year - start.year) * 12 + end.month - start.month
