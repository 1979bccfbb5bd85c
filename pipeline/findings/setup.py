"""The section on set-up steps: which were done at the starts at which they were checked."""

from __future__ import annotations

import polars as pl

from pipeline.findings.control_figures import control_figures
from pipeline.findings.figures import interval_table, section_of
from pipeline.findings.model import WARD, Figure, Section
from pipeline.findings.source import Source, as_table, ward_table
from pipeline.findings.wording import counted

_TABLE = "setup_monthly"
_COLUMNS = {
    "starts": ("Starts", "count"),
    "starts_checked": ("Checked", "count"),
    "done": ("Done", "count"),
    "done_rate": ("Done of checked", "share"),
    "rate_low": ("Low", "share"),
    "rate_high": ("High", "share"),
    "checked_rate": ("Checked of starts", "share"),
}


def setup(source: Source) -> Section:
    """Return how often the site's own set-up steps were done at the starts at which they were checked."""
    rows = source.up_to_now(_TABLE, month=source.month).sort("step")
    columns = {"step": ("Step", "text")} | _COLUMNS
    steps = as_table(rows, "steps", f"Set-up steps, {source.month_words}", columns, "No step is on record.")
    tables = (steps, ward_table(source, _TABLE, "Set-up steps", _COLUMNS, by="step"))
    now = (_done(source, rows), _checked(source, rows)) if rows.height else ()
    charts = [
        figure
        for number, measure in enumerate(source.steps, 1)
        for figure in control_figures(source, measure, f"setup-{number}", "third")
    ]
    return section_of(source, "setup", _TABLE, WARD, figures=(*now, *charts), tables=tables)


def _done(source: Source, rows: pl.DataFrame) -> Figure:
    steps = _counts(source, rows, "done", "starts_checked")
    missed = sum(total - count for *_, count, total in steps)
    title = f"Checked and not done: {counted(missed, 'step')}, over {counted(rows.height, 'kind')} of step"
    subtitle = f"Done, % of starts at which the step was checked, with 95% intervals, {source.month_words}"
    table = interval_table("steps-done", "Steps done where checked", "Step", steps)
    return Figure("steps-done", "intervals", title, subtitle, table)


def _checked(source: Source, rows: pl.DataFrame) -> Figure:
    steps = _counts(source, rows, "starts_checked", "starts")
    missed = sum(total - count for *_, count, total in steps)
    title = f"Not checked: {counted(missed, 'step')}; counted beside the rate, not as failures"
    subtitle = f"Checked, % of starts, with 95% intervals, {source.month_words}"
    table = interval_table("steps-checked", "Starts at which the step was checked", "Step", steps)
    return Figure("steps-checked", "intervals", title, subtitle, table)


def _counts(source: Source, rows: pl.DataFrame, count: str, total: str) -> list[tuple[str, str, int, int]]:
    counts = rows.select("step", count, total).rows()
    return [(step, source.month_words, part, of) for step, part, of in counts]
