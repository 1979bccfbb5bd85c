"""The section about the data themselves: every row accounted for, what was expected of the files, what is covered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import polars as pl

from pipeline.findings.model import QUALITY_LEAD, Cell, Column, Figure, Section, Table
from pipeline.findings.quiet import quiet_table
from pipeline.findings.source import Source
from pipeline.findings.wording import counted, part_words, sentence
from pipeline.ingest.row_rules import MEANINGS
from pipeline.store.ledger import ALWAYS, LedgerEntry
from pipeline.validation import Validation

_ACCOUNT = ("rows_read", "accepted", "duplicates", "skipped", "quarantined")
_ACCOUNT_COLUMNS = (
    Column("Rows read", "count"),
    Column("= accepted", "count"),
    Column("+ duplicates", "count"),
    Column("+ skipped", "count"),
    Column("+ quarantined", "count"),
    Column("Corrected", "count"),
)

#: Warnings that show only when the records stand beside each other.
_BETWEEN = {
    "overlapping_episode": "it overlaps another patient's episode on the unit",
    "unlinked": "the part belongs to no unit and no patient on record",
}


def quality(source: Source, ledger: Sequence[LedgerEntry], validation: Sequence[Validation]) -> Section:
    """Return the account of the files that hold rows of the month, and what they do not tell."""
    files = [entry for entry in ledger if _is_of(entry, source)]
    read, kept_out = sum(entry.rows_read for entry in files), sum(entry.quarantined for entry in files)
    out = f"{kept_out:,}" if kept_out else "none"
    return Section(
        key="quality",
        model="",
        title="Data quality",
        question="How complete and how sound are the records behind this page?",
        reader=QUALITY_LEAD,
        paragraphs=(
            f"{sentence(counted(len(files), 'file'))} with rows of {source.month_words}, or with rows of no month, "
            f"{'was' if len(files) == 1 else 'were'} read: {counted(read, 'row')}, {out} of them kept "
            "out. Counts are those of whole files. For every file, rows read = accepted + duplicates + skipped + "
            "quarantined.",
        ),
        caveats=("what was never exported is left out of every rate, and shown here as not covered",),
        figures=(_coverage(source),),
        tables=(
            quiet_table(source),
            _by_table(files),
            _reasons(files),
            _warnings(source, files),
            _expectations(source, validation),
            _refused(ledger),
            _by_file(files),
        ),
    )


def _is_of(entry: LedgerEntry, source: Source) -> bool:
    """Say whether a file holds rows of the site and month; one without any row may be of every site."""
    parts = [part for part in entry.parts if part.site_id == source.site_id]
    return not entry.refused and (
        not entry.parts or any(part.month in (source.month, ALWAYS) for part in parts)
    )


def _account(entries: Sequence[LedgerEntry]) -> tuple[int, ...]:
    return tuple(sum(getattr(entry, name) for entry in entries) for name in (*_ACCOUNT, "corrected"))


def _by_table(files: Sequence[LedgerEntry]) -> Table:
    tables = sorted({entry.table for entry in files})
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (part_words(table), len(of_table), *_account(of_table))
        for table in tables
        for of_table in [[entry for entry in files if entry.table == table]]
    )
    columns = (Column("Records of"), Column("Files", "count"), *_ACCOUNT_COLUMNS)
    return Table("accounts", "Rows by kind of record", columns, rows, "No file.")


def _by_file(files: Sequence[LedgerEntry]) -> Table:
    ordered = sorted(files, key=lambda entry: (entry.table, entry.name, entry.sha256))
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (entry.name, part_words(entry.table), *_account([entry])) for entry in ordered
    )
    return Table(
        "files",
        "Rows by file",
        (Column("File"), Column("Records of"), *_ACCOUNT_COLUMNS),
        rows,
        "No file.",
        folded=True,
    )


def _reasons(files: Sequence[LedgerEntry]) -> Table:
    rows = tuple(
        (part_words(table), MEANINGS[reason], number) for table, reason, number in _tallied(files, "reasons")
    )
    columns = (Column("Records of"), Column("Kept out because", "words"), Column("Rows", "count"))
    return Table(
        "reasons",
        "Why rows were kept out (a row may have several reasons)",
        columns,
        rows,
        "No row was kept out.",
    )


def _warnings(source: Source, files: Sequence[LedgerEntry]) -> Table:
    alone = [
        (part_words(table), MEANINGS[warning], "in the files", number)
        for table, warning, number in _tallied(files, "warnings")
    ]
    between = source.in_month("record_warnings", "warned_at").filter(pl.col("warning").is_in(list(_BETWEEN)))
    beside = [
        (part_words(table), _BETWEEN[warning], f"of {source.month_words}", number)
        for table, warning, number in between.group_by("table_name", "warning")
        .len()
        .sort("table_name", "warning")
        .rows()
    ]
    columns = (
        Column("Records of"),
        Column("Accepted, although", "words"),
        Column("Counted"),
        Column("Rows", "count"),
    )
    return Table(
        "warnings",
        "Warnings: rows accepted that deserve a second look",
        columns,
        (*alone, *beside),
        "No warning.",
    )


def _tallied(files: Sequence[LedgerEntry], told: str) -> list[tuple[str, str, int]]:
    found: Counter[tuple[str, str]] = Counter()
    for entry in files:
        found.update({(entry.table, name): number for name, number in getattr(entry, told).items()})
    return [(table, name, number) for (table, name), number in sorted(found.items())]


def _expectations(source: Source, validation: Sequence[Validation]) -> Table:
    own = [judged for judged in validation if not judged.sites or source.site_id in judged.sites]
    rows = tuple(
        (
            "not met" if not judged.success else "met",
            part_words(judged.table),
            judged.meaning,
            judged.observed,
            _bounds(judged.least, judged.most),
            judged.files,
        )
        for judged in sorted(own, key=lambda judged: (judged.success, judged.table, judged.expectation))
    )
    columns = (
        Column("Result"),
        Column("Records of"),
        Column("What is expected", "words"),
        Column("Found", "ratio"),
        Column("Allowed"),
        Column("Files", "count"),
    )
    unmet = sum(not judged.success for judged in own)
    caption = f"What is expected of the files: {len(own) - unmet} of {counted(len(own), 'expectation')} met"
    return Table("expectations", caption, columns, rows, "The files were not judged.", folded=True)


def _bounds(least: float | None, most: float | None) -> str:
    if least is not None and most is not None:
        return f"{least:g}" if least == most else f"{least:g} to {most:g}"
    return f"at least {least:g}" if least is not None else f"at most {most:g}" if most is not None else "any"


def _refused(ledger: Sequence[LedgerEntry]) -> Table:
    refused = sorted((entry.name, entry.refused) for entry in ledger if entry.refused)
    columns = (Column("File"), Column("Refused because", "words"))
    return Table(
        "refused", "Files refused as a whole, of any month and site", columns, tuple(refused), "None."
    )


def _coverage(source: Source) -> Figure:
    shown = list(source.shown_months)
    covered = source.facts("covered_months").filter(pl.col("month").is_in(shown))
    known = {
        (table, month): declared
        for table, month, declared in covered.select("table_name", "month", "declared").rows()
    }
    tables = sorted({table for table, _ in known})
    rows = tuple(
        (part_words(table), month, _state(known.get((table, month)))) for table in tables for month in shown
    )
    gaps = sorted({part_words(table) for table in tables if (table, source.month) not in known})
    title = f"Not covered this month: {', '.join(gaps)}" if gaps else "Every kind of record covers this month"
    table = Table(
        "coverage",
        "Months covered by each kind of record",
        (Column("Records of"), Column("Month", "month"), Column("State")),
        rows,
    )
    return Figure(
        "coverage",
        "coverage",
        sentence(title),
        f"Kinds of record and months, {source.period}",
        table,
        size="full",
    )


def _state(declared: bool | None) -> str:
    return {None: "not covered", True: "covered, as the rules declare", False: "covered by its rows"}[
        declared
    ]


def uncovered(source: Source) -> list[str]:
    """Return the kinds of record that cover other months and not this one."""
    covered = source.facts("covered_months")
    now = set(covered.filter(month=source.month)["table_name"])
    return sorted(set(covered.filter(pl.col("month") <= source.month)["table_name"]) - now)
