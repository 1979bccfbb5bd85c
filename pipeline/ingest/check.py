"""A rehearsal of ingest: everything it would do, in a store that is thrown away, and every finding in plain words."""

from __future__ import annotations

import datetime
import json
import re
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.ingest.advice import ADVICE
from pipeline.ingest.cells import WIDE_COLUMNS
from pipeline.ingest.find_exports import find_exports
from pipeline.ingest.ingest_file import FileResult, Run, ingest_file
from pipeline.ingest.profiles import Profile, load_profiles, part_of
from pipeline.ingest.quarantine import listing
from pipeline.ingest.row_rules import MEANINGS
from pipeline.ingest.sites import Sites, settle_sites
from pipeline.records import TABLES, Table
from pipeline.site_rules import SiteRules
from pipeline.store.keys import load_key
from pipeline.store.layout import Store, open_store

REFUSED, KEPT_OUT, WARNED, NOTED = "refused", "quarantined", "warning", "note"
#: Stands where a patient reference stood; it is never passed on.
PATIENT = "(patient reference)"


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, or worth knowing, in words for whoever made the export.

    ``kind`` is what becomes of it; without a ``row`` it is about the whole file, and ``rows`` says of how many.
    """

    file: str
    kind: str
    rule: str
    meaning: str
    advice: str = ""
    sheet: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None
    rows: int | None = None


@dataclass(frozen=True)
class CheckReport:
    """What an ingest of these files would come to; ``findings`` in order of file and row."""

    files: tuple[FileResult, ...]
    passed_over: tuple[str, ...]
    findings: tuple[Finding, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain values for a JSON document."""
        return asdict(self)


def check(
    paths: Sequence[Path],
    *,
    site: str | None,
    rules_path: Path | None,
    profile_path: Path | None,
    mask: bool,
    now: datetime.datetime,
) -> CheckReport:
    """Read files as ingest would and keep nothing; without rules, local times are taken for UTC."""
    now = now.astimezone(datetime.UTC).replace(tzinfo=None) if now.tzinfo else now
    with tempfile.TemporaryDirectory(prefix="dewledger-") as folder:
        store = open_store(Path(folder) / "store", create=True)
        found = find_exports(paths, load_profiles(profile_path), store.root)
        run = Run(
            store, load_key(store, create=True), _sites(store, site, rules_path), now, [], [], warned=[]
        )
        results: list[FileResult] = []
        findings: list[Finding] = []
        for path, profile, table in found.files:
            result = ingest_file(run, path, profile, table)
            kept_out = listing(store).filter(pl.col("sha256") == result.sha256)
            warned = pl.concat(run.warned) if run.warned else listing(store).clear()
            findings += _findings(result, profile, kept_out, warned, mask)
            if run.warned:
                run.warned.clear()
            results.append(result)
    if rules_path is None:
        findings.insert(0, _WITHOUT_RULES)
    return CheckReport(tuple(results), found.passed_over, tuple(findings))


_WITHOUT_RULES = Finding(
    "all files",
    NOTED,
    "no_rules",
    "no site rules were given, so times without an offset were read as UTC and no site's own parts are known",
    "name the site's rules with --rules site.toml",
)


def _sites(store: Store, site: str | None, rules_path: Path | None) -> Sites:
    if rules_path:
        return settle_sites(store, site, rules_path, [])
    rules = SiteRules(time_zone="UTC")
    return Sites(site.strip() if site and site.strip() else "site", {}, rules, {})


def _findings(
    result: FileResult, profile: Profile, kept_out: pl.DataFrame, warned: pl.DataFrame, mask: bool
) -> Iterator[Finding]:
    """Yield what there is to say of one file: of the whole, then of its rows."""
    if result.refused:
        yield Finding(result.name, REFUSED, "refused", result.refused)
        return
    for note in result.notes:
        yield Finding(result.name, NOTED, "spreadsheet", note)
    if result.undeclared_columns:
        names = ", ".join(result.undeclared_columns)
        yield Finding(result.name, NOTED, "undeclared_columns", f"columns that are not read: {names}")
    if result.duplicates:
        meaning = "rows that repeat others word for word, and are counted once"
        yield Finding(result.name, NOTED, "duplicates", meaning, rows=result.duplicates)
    for rule in ("out_of_order", "unknown_unit"):
        if rows := result.warnings.get(rule):
            yield Finding(result.name, WARNED, rule, MEANINGS[rule], ADVICE[rule], rows=rows)
    of_rows = [
        *(
            finding
            for row in kept_out.iter_rows(named=True)
            for finding in _of_row(row, profile, KEPT_OUT, mask)
        ),
        *(finding for row in warned.iter_rows(named=True) for finding in _of_row(row, profile, WARNED, mask)),
    ]
    yield from sorted(of_rows, key=lambda finding: finding.row or 0)


def _of_row(row: dict[str, Any], profile: Profile, kind: str, mask: bool) -> Iterator[Finding]:
    raw = json.loads(row["raw"])
    table = TABLES[row["table"]]
    number, named = _place(row["source_row"], table, profile)
    for fault in row["faults"].split(","):
        rule, _, column = fault.partition(":")
        fields = [name for name in raw if part_of(name) == column]
        yield Finding(
            row["file_name"],
            kind,
            rule,
            MEANINGS[rule],
            ADVICE[rule],
            row["sheet"],
            number,
            " + ".join(dict.fromkeys(named.get(name, name) for name in fields))
            or named.get(column, column)
            or None,
            _value(table.name, column, [raw[name] for name in fields], mask),
        )


def _place(source_row: int, table: Table, profile: Profile) -> tuple[int, dict[str, str]]:
    """Return a row's number in its file, and where in it each field stands: of a logbook's day, the cell's own."""
    named = {**{name: name for name in table.names}, **profile.fields(table)}
    if profile.wide is None or source_row < WIDE_COLUMNS:
        return source_row, named
    number, place = divmod(source_row, WIDE_COLUMNS)
    return number, named | dict.fromkeys((*profile.wide.fields, profile.wide.day), str(place))


def _value(table: str, column: str, said: list[str | None], mask: bool) -> str | None:
    """Return what the file says there; of a patient never, and masked only its shape."""
    text = " ".join(part for part in said if part)
    if not text or not column:
        return None
    if column in TABLES[table].names and TABLES[table].column(column).kind == "patient":
        return PATIENT
    return masked(text) if mask else text


def masked(text: str) -> str:
    """Return the shape of a text: letters as x, digits as 9.

    >>> masked("31.02.2026 8h")
    '99.99.9999 9x'
    """
    return re.sub(r"[^\W\d_]", "x", re.sub(r"\d", "9", text))
