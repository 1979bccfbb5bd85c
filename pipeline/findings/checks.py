"""The sections about set-up steps and about the units' own counts."""

from __future__ import annotations

import polars as pl

from pipeline.findings.figures import interval_table
from pipeline.findings.model import INFECTION_CONTROL, WARD, Figure, Section, Share, Table
from pipeline.findings.source import Source, as_table, ward_table, whole
from pipeline.findings.wording import VERDICTS, counted, listed

_COUNTS = {
    "pairs": ("Pairs", "count"),
    "agrees": ("Agree", "count"),
    "unrecorded": ("Count above records", "count"),
    "uncounted": ("Records above count", "count"),
    "rollback": ("Count went down", "count"),
    "likely_misread": ("Likely misread", "count"),
    "not_assessable": ("Not assessable", "count"),
}


def setup(source: Source) -> Section:
    """Return how often the site's own set-up steps were done at the starts at which they were checked."""
    model = source.models["setup_monthly"]
    rows = source.by_month("setup_monthly").filter(month=source.month).sort("step")
    columns = {
        "starts": ("Starts", "count"), "starts_checked": ("Checked", "count"), "done": ("Done", "count"),
        "done_rate": ("Done of checked", "share"), "rate_low": ("Low", "share"), "rate_high": ("High", "share"),
        "checked_rate": ("Checked of starts", "share"),
    }  # fmt: skip
    return Section(
        key="setup", model=model.name, title=model.text("title"), question=model.text("question"), reader=WARD, paragraphs=(),
        caveats=model.header["caveat"], figures=_setup_figures(source, rows),
        tables=(
            as_table(rows, "steps", f"Set-up steps, {source.month_words}", {"step": ("Step", "text"), **columns}, "No step was checked."),
            ward_table(source, "setup_monthly", "Set-up steps", columns, by="step"),
        ),
    )  # fmt: skip


def _setup_figures(source: Source, rows: pl.DataFrame) -> tuple[Figure, ...]:
    if not rows.height:
        return ()
    steps = [(step, whole(done), whole(of), whole(starts)) for step, done, of, starts in rows.select("step", "done", "starts_checked", "starts").rows()]
    done = interval_table("steps-done", "Steps done where checked", "Step", [(step, source.month_words, part, of) for step, part, of, _ in steps])
    checked = interval_table("steps-checked", "Starts at which the step was checked", "Step", [(step, source.month_words, of, starts) for step, _, of, starts in steps])
    missed = sum(of - part for _, part, of, _ in steps)
    never = sum(starts - of for *_, of, starts in steps)
    return (
        Figure(
            "steps-done", "intervals", f"Checked and not done: {counted(missed, 'step')}, over {counted(len(steps), 'kind')} of step",
            f"Done, % of starts at which the step was checked, with 95% intervals, {source.month_words}", done,
        ),
        Figure(
            "steps-checked", "intervals", f"Not checked: {counted(never, 'step')}; counted beside the rate, not as failures",
            f"Checked, % of starts, with 95% intervals, {source.month_words}", checked,
        ),
    )  # fmt: skip


def counts(source: Source) -> Section:
    """Return where a unit's own count of its cycles and the records part, and readings likely misread."""
    model = source.models["count_check_monthly"]
    table = as_table(source.by_month("count_check_monthly"), "count-months", "Pairs of counts by month", {"month": ("Month", "month"), **_COUNTS})
    figure = Figure(
        "count-months", "count_verdicts", _counts_title(source),
        f"Pairs of consecutive counts that do not agree with the records, count, {source.period}", table, size="half",
    )  # fmt: skip
    wards = ward_table(source, "count_check_monthly", "Pairs of counts", _COUNTS)
    return Section(
        key="counts", model=model.name, title=model.text("title"), question=model.text("question"), reader=INFECTION_CONTROL,
        paragraphs=(), caveats=model.header["caveat"], figures=(figure,), tables=(count_cases(source), wards),
    )  # fmt: skip


def _counts_title(source: Source) -> str:
    now = source.now("count_check_monthly")
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
        "to_at": ("Second count", "instant"), "unit_id": ("Unit", "text"), "from_at": ("First count", "instant"),
        "from_count": ("First", "count"), "to_count": ("Second", "count"), "counted": ("Rose by", "count"),
        "expected": ("Recorded", "count"), "verdict": ("What it may be", "text"),
    }  # fmt: skip
    caption = f"Every pair of counts of {source.month_words} that does not agree: {counted(rows.height, 'pair')}"
    return as_table(told, "count-cases", caption, columns, "None this month.")


def disagreements(source: Source) -> str:
    """Say how many pairs of the month part from the records, and which way; empty when none does."""
    now = source.now("count_check_monthly")
    kinds = [f"{whole(now.get(name)):,} where the {words}" for name, words in VERDICTS.items() if name != "likely_misread" and whole(now.get(name))]
    return listed(kinds)
