"""The sections about disposables: part cover, overruns, and new parts for new patients."""

from __future__ import annotations

import polars as pl

from pipeline.findings.figures import control_figure, interval_table, ward_sums, ward_title
from pipeline.findings.model import WARD, Column, Figure, Measure, Section, Share, Table
from pipeline.findings.source import Source, as_table, number, ward_table, whole
from pipeline.findings.wording import (
    COVER,
    FRESH,
    counted,
    part_words,
    sentence,
    shown,
)
from pipeline.site_rules import PartRule

_COVER_COLUMNS = {
    "episode_h": ("Episode hours", "hours"),
    **{name: (sentence(words), "hours") for name, words in COVER.items()},
    "cover_rate": ("Share in limit", "share"),
}

#: Months pooled beside a single one, which is too small to judge a ward by.
POOLED_MONTHS = 12


def cover(source: Source) -> Section:
    """Return how much of patients' time was served by a part known to be theirs and within its limit."""
    model = source.models["part_cover_monthly"]
    parts = [part for part, rule in sorted(source.rules.parts.items()) if rule.per_patient]
    figures = [figure for part in parts for figure in (_cover_by_month(source, part), _cover_by_ward(source, part))]
    return Section(
        key="cover", model=model.name, title=model.text("title"), question=model.text("question"), reader=WARD,
        paragraphs=(
            "Each hour of an episode is put in one of five kinds. The columns show only what was not in limit, "
            "so that it can be seen; the rest of each column, up to 100%, was in limit.",
        ),
        caveats=model.header["caveat"], figures=tuple(figures),
    )  # fmt: skip


def _cover_by_month(source: Source, part: str) -> Figure:
    rows = source.by_month("part_cover_monthly", part=part)
    now = source.now("part_cover_monthly", part=part)
    name = sentence(part_words(part))
    if not now:
        title = f"{name}: no episode this month"
    elif now["cover_rate"] is None:
        title = f"{name}: none of {shown(now['episode_h'], 'hours')} can be assessed"
    else:
        title = f"{name}: {shown(now['cover_rate'], 'share')} of the hours in limit"
    columns = {"month": ("Month", "month"), **_COVER_COLUMNS}
    return Figure(
        f"cover-months-{part}", "cover_by_month", title,
        f"Hours not in limit, % of episode hours, {source.period}",
        as_table(rows, f"cover-months-{part}", f"{name}: hours of episodes by month", columns), size="half",
    )  # fmt: skip


def _cover_by_ward(source: Source, part: str) -> Figure:
    rows = source.by_ward("part_cover_monthly", part=part)
    name = sentence(part_words(part))
    outside = rows.filter(pl.col("episode_h") - pl.col("in_limit_h") > 0).height
    title = f"{name}: hours not in limit in {outside} of {counted(rows.height, 'ward')}"
    columns = {"ward": ("Ward", "text"), **_COVER_COLUMNS}
    return Figure(
        f"cover-wards-{part}", "cover_by_ward", title if rows.height else f"{name}: no episode this month",
        f"Hours not in limit, % of the ward's episode hours, {source.month_words}",
        as_table(rows, f"cover-wards-{part}", f"{name}: hours of episodes by ward", columns), size="half",
    )  # fmt: skip


def overruns(source: Source, measures: tuple[Measure, ...]) -> Section:
    """Return how often parts stayed past the site's limit, by month and by ward."""
    model = source.models["part_overrun_monthly"]
    parts = [part for part, rule in sorted(source.rules.parts.items()) if rule.max_days is not None]
    by_key = {measure.key: measure for measure in measures}
    figures = []
    for part in parts:
        limit = _limit(source.rules.parts[part], source.rules.grace_h)
        measure = by_key[f"overruns-{part}"]
        figures.append(control_figure(measure, f"Spans past the limit of {limit}, % of those decided, {source.period}"))
        figures.append(_overruns_by_ward(source, part, measure))
    return Section(
        key="overruns", model=model.name, title=model.text("title"), question=model.text("question"), reader=WARD,
        paragraphs=(
            "A span is decided in the month in which it ended, or ran past its limit. Wards stand in the order "
            "of the alphabet: the intervals of small wards are wide, and their order would say nothing.",
        ),
        caveats=model.header["caveat"], figures=tuple(figures), tables=(_limits(source),),
    )  # fmt: skip


def _limit(rule: PartRule, grace_h: float) -> str:
    days = counted(1, "day") if rule.max_days == 1 else f"{rule.max_days:g} days"
    return f"{days} and {grace_h:g} h of grace" if grace_h else days


def _limits(source: Source) -> Table:
    rows = tuple(
        (
            sentence(part_words(part)),
            "no limit" if rule.max_days is None else _limit(rule, source.rules.grace_h),
            "whole local days" if rule.clock == "calendar" else "hours since fitting",
            "yes" if rule.per_patient else "no",
            f"the {rule.follows}",
        )
        for part, rule in sorted(source.rules.parts.items())
    )
    names = ("Part", "Limit", "Counted in", "New for each patient", "Stays with")
    return Table("limits", "The site's own limits, as its rules state them", tuple(map(Column, names)), rows)


def _overruns_by_ward(source: Source, part: str, measure: Measure) -> Figure:
    months = min(POOLED_MONTHS, len(source.months))
    month = source.by_ward("part_overrun_monthly", part=part)
    pooled = source.by_ward("part_overrun_monthly", months, part=part)
    rows = [
        *((*row[:1], source.month_words, *row[1:]) for row in ward_sums(month, "overrun", "decided")),
        *((*row[:1], f"{months} months to then", *row[1:]) for row in ward_sums(pooled, "overrun", "decided")),
    ]
    name = sentence(part_words(part))
    return Figure(
        f"wards-overruns-{part}", "intervals", ward_title(f"{name}s past the limit", measure, month, "overrun", "decided"),
        f"Spans past the limit, % of those decided, with 95% intervals, {source.month_words}",
        interval_table(f"wards-overruns-{part}", f"{name}s past the limit by ward", "Ward", rows),
        lines=(("site", measure.now.value),) if measure.now.value is not None else (), size="half",
    )  # fmt: skip


def fresh(source: Source, measures: tuple[Measure, ...]) -> Section:
    """Return how often a stay began with a part of its own."""
    model = source.models["fresh_part_monthly"]
    parts = [part for part, rule in sorted(source.rules.parts.items()) if rule.per_patient]
    return Section(
        key="fresh", model=model.name, title=model.text("title"), question=model.text("question"), reader=WARD,
        paragraphs=(_fresh_words(source, parts),), caveats=model.header["caveat"],
        figures=tuple(_fresh_by_month(source, part) for part in parts),
        tables=(_fresh_cases(source), ward_table(source, "fresh_part_monthly", "New parts", _FRESH_COLUMNS, by="part")),
    )  # fmt: skip


def _fresh_words(source: Source, parts: list[str]) -> str:
    told = []
    for part in parts:
        now = source.now("fresh_part_monthly", part=part)
        share = Share(whole(now.get("fresh")), whole(now.get("starts")))
        told.append(f"{part_words(part)} {share.count:,} of {share.total:,} starts ({shown(share.value, 'share')})")
    return f"{source.month_words}: new for the patient at the start – {'; '.join(told)}."


def _fresh_by_month(source: Source, part: str) -> Figure:
    rows = source.by_month("fresh_part_monthly", part=part)
    now = source.now("fresh_part_monthly", part=part)
    name = sentence(part_words(part))
    without = whole(now.get("carried_over")) + whole(now.get("no_record"))
    starts = whole(now.get("starts"))
    title = f"{name}: {counted(without, 'start')} without a new one, of {starts:,}" if starts else f"{name}: no start to judge"
    table = as_table(rows, f"fresh-{part}", f"{name}: starts of stays by month", {"month": ("Month", "month"), **_FRESH_COLUMNS})
    return Figure(
        f"fresh-{part}", "fresh_counts", title, f"Starts of stays without a new {part_words(part)}, count, {source.period}",
        table, size="third",
    )  # fmt: skip


_FRESH_COLUMNS = {
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


def _fresh_cases(source: Source) -> Table:
    cases = source.in_month("fresh_part_checks", "started_at").filter(pl.col("verdict").is_in(list(FRESH)))
    cases = cases.with_columns(pl.col("verdict").replace(FRESH), pl.col("ward").fill_null("–"))
    columns = {
        "started_at": ("Stay began", "instant"), "unit_id": ("Unit", "text"), "ward": ("Ward", "text"),
        "patient_key": ("Patient key", "key"), "part": ("Part", "part"), "verdict": ("What the records show", "text"),
    }  # fmt: skip
    caption = f"Every start without a new part, {source.month_words}: {counted(cases.height, 'case')}"
    return as_table(cases, "fresh-cases", caption, columns, "None this month.")


def carried_over(source: Source) -> int:
    """Count the starts of the month with a part that had served another patient."""
    months = source.up_to_now("fresh_part_monthly").filter(month=source.month)
    return whole(number(months["carried_over"].sum()))
