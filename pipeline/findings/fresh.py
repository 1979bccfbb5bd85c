"""The section on new parts for new patients; every start without one is listed."""

from __future__ import annotations

import polars as pl

from pipeline.findings.control_figures import control_figures
from pipeline.findings.figures import section_of
from pipeline.findings.model import WARD, Figure, Section, Share, Table
from pipeline.findings.source import MONTH, NO_WARD, Source, as_table, ward_table, whole
from pipeline.findings.wording import FRESH, all_cases, counted, part_words, sentence, shown

_TABLE = "fresh_part_monthly"
_COLUMNS = {
    "starts": ("Starts", "count"),
    "fresh": ("New", "count"),
    "carried_over": ("Carried over", "count"),
    "no_record": ("No record", "count"),
    "same_patient": ("Same patient's", "count"),
    "undecided": ("Undecided", "count"),
    "not_assessable": ("Not assessable", "count"),
    "fresh_rate": ("Share new", "share"),
    "rate_low": ("Low", "share"),
    "rate_high": ("High", "share"),
}


def fresh(source: Source) -> Section:
    """Return how often a stay began with a part of its own."""
    charts = [
        figure
        for part in source.patient_parts
        for figure in control_figures(source, f"fresh_parts:{part}", f"fresh-{part}", "third")
    ]
    figures = (*(_by_month(source, part) for part in source.patient_parts), *charts)
    tables = (_cases(source), ward_table(source, _TABLE, "New parts", _COLUMNS, by="part"))
    return section_of(
        source, "fresh", _TABLE, WARD, paragraphs=(_in_words(source),), figures=figures, tables=tables
    )


def carried_over(source: Source) -> pl.DataFrame:
    """Return the month's rows of parts that had served another patient at a start: part, carried_over, starts."""
    rows = source.up_to_now(_TABLE, month=source.month).filter(pl.col("carried_over") > 0)
    return rows.select("part", "carried_over", "starts").sort("part")


def _in_words(source: Source) -> str:
    told = []
    for part in source.patient_parts:
        now = source.now(_TABLE, part=part)
        share = Share(whole(now.get("fresh")), whole(now.get("starts")))
        told.append(
            f"{part_words(part)} {share.count:,} of {share.total:,} starts ({shown(share.value, 'share')})"
        )
    return f"{source.month_words}: new for the patient at the start – {'; '.join(told)}."


def _by_month(source: Source, part: str) -> Figure:
    now = source.now(_TABLE, part=part)
    name = sentence(part_words(part))
    without = whole(now.get("carried_over")) + whole(now.get("no_record"))
    starts = whole(now.get("starts"))
    title = f"{counted(without, 'start')} without a new one, of {starts:,}" if starts else "no start to judge"
    key = f"fresh-{part}"
    subtitle = f"Starts of stays without a new {part_words(part)}, count, {source.period}"
    table = as_table(
        source.by_month(_TABLE, part=part), key, f"{name}: starts of stays by month", MONTH | _COLUMNS
    )
    return Figure(key, "fresh_counts", f"{name}: {title}", subtitle, table, size="third")


def _cases(source: Source) -> Table:
    rows = source.in_month("fresh_part_checks", "started_at").filter(pl.col("verdict").is_in(list(FRESH)))
    told = rows.with_columns(pl.col("verdict").replace(FRESH), pl.col("ward").fill_null(NO_WARD))
    columns = {
        "started_at": ("Stay began", "instant"),
        "unit_id": ("Unit", "unit"),
        "ward": ("Ward", "text"),
        "patient_key": ("Patient key", "key"),
        "part": ("Part", "part"),
        "verdict": ("What the records show", "words"),
    }
    caption = all_cases(f"Starts without a new part, {source.month_words}", rows.height)
    return as_table(told, "fresh-cases", caption, columns, "None this month.")
