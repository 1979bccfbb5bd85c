"""The section on count agreement: each unit's own count of its cycles beside the records."""

from __future__ import annotations

import polars as pl

from pipeline.findings.control_figures import control_figures
from pipeline.findings.counters import counters
from pipeline.findings.figures import section_of
from pipeline.findings.model import INFECTION_CONTROL, Figure, Section, Share, Table
from pipeline.findings.source import MONTH, Source, as_table, ward_table, whole
from pipeline.findings.wording import VERDICTS, all_cases, counted, listed

_TABLE = "count_check_monthly"
_COLUMNS = {
    "pairs": ("Pairs", "count"),
    "agrees": ("Agree", "count"),
    "unrecorded": ("Count above records", "count"),
    "uncounted": ("Records above count", "count"),
    "rollback": ("Count went down", "count"),
    "likely_misread": ("Likely misread", "count"),
    "not_assessable": ("Not assessable", "count"),
}


def counts(source: Source) -> Section:
    """Return where a unit's own count of its cycles and the records part, and readings likely misread."""
    subtitle = f"Pairs of consecutive counts that do not agree with the records, count, {source.period}"
    table = as_table(source.by_month(_TABLE), "count-months", "Pairs of counts by month", MONTH | _COLUMNS)
    figure = Figure("count-months", "count_verdicts", _title(source), subtitle, table)
    tables = (count_cases(source), ward_table(source, _TABLE, "Pairs of counts", _COLUMNS))
    figures = (figure, *control_figures(source, "count_agreement", "counts"), *counters(source))
    return section_of(source, "counts", _TABLE, INFECTION_CONTROL, figures=figures, tables=tables)


def _title(source: Source) -> str:
    now = source.now(_TABLE)
    if not now:
        return "No counts to compare this month"
    share = Share(whole(now["agrees"]), whole(now["pairs"]) - whole(now["not_assessable"]))
    misread = whole(now["likely_misread"])
    told = f"{share.count:,} of {share.total:,} pairs agree with the records"
    return f"{told}; {counted(misread, 'pair')} likely misread" if misread else told


def count_cases(source: Source) -> Table:
    """Return every pair of counts of the month that does not agree."""
    rows = source.in_month("count_checks", "to_at").filter(pl.col("verdict").is_in(list(VERDICTS)))
    told = rows.with_columns(pl.col("verdict").replace(VERDICTS))
    columns = {
        "to_at": ("Second count", "instant"), "unit_id": ("Unit", "unit"), "from_at": ("First count", "instant"),
        "from_count": ("First", "count"), "to_count": ("Second", "count"), "counted": ("Rose by", "count"),
        "expected": ("Recorded", "count"), "verdict": ("What it may be", "words"),
    }  # fmt: skip
    caption = all_cases(f"Pairs of counts that do not agree, {source.month_words}", rows.height)
    return as_table(told, "count-cases", caption, columns, "None this month.")


def disagreements(source: Source) -> str:
    """Say how many pairs of the month part from the records, and which way; empty when none does."""
    now = source.now(_TABLE)
    counts_by_kind = {
        words: whole(now.get(name)) for name, words in VERDICTS.items() if name != "likely_misread"
    }
    return listed([f"{number:,} where the {words}" for words, number in counts_by_kind.items() if number])
