"""The section on part cover: patients' time by what is known of the part that served it."""

from __future__ import annotations

import polars as pl

from pipeline.findings.control_figures import control_figures
from pipeline.findings.figures import section_of
from pipeline.findings.model import WARD, Figure, Section
from pipeline.findings.source import MONTH, SITE, WARD_COLUMN, Source, as_table
from pipeline.findings.wording import COVER, counted, part_words, sentence, shown

_TABLE = "part_cover_monthly"

#: Wards that stand side by side, and for how many months.
_MOST_WARDS, _WARD_MONTHS = 24, 12
_COLUMNS = {
    "episode_h": ("Episode hours", "hours"),
    **{name: (sentence(words), "hours") for name, words in COVER.items()},
    "cover_rate": ("Share in limit", "share"),
}


def cover(source: Source) -> Section:
    """Return how much of patients' time was served by a part known to be theirs and within its limit."""
    parts = source.patient_parts
    by_part = [figure for part in parts for figure in (_by_month(source, part), _by_ward(source, part))]
    told = (
        "Each hour of an episode is of one of five kinds. By month and by ward only what was not in limit is "
        "drawn, enlarged so that it can be seen; the rest, up to 100%, was in limit."
    )
    charts = [
        figure
        for part in parts
        for figure in control_figures(source, f"part_cover:{part}", f"cover-{part}", "third")
    ]
    figures = (_now(source, parts), *charts, *by_part, *_wards_by_month(source, parts))
    return section_of(source, "cover", _TABLE, WARD, paragraphs=(told,), figures=figures)


def _now(source: Source, parts: list[str]) -> Figure:
    rows = source.up_to_now(_TABLE, month=source.month).filter(pl.col("part").is_in(parts)).sort("part")
    named = rows.with_columns(
        part=pl.Series([sentence(part_words(part)) for part in rows["part"]], dtype=pl.String)
    )
    shares = [share for share in rows["cover_rate"] if share is not None]
    title = (
        f"{shown(min(shares), 'share')} or more of the hours in limit, for each part"
        if shares
        else "No hours to assess"
    )
    columns = {"part": ("Part", "text"), **_COLUMNS}
    table = as_table(named, "cover-now", "Hours of episodes by part", columns)
    return Figure(
        "cover-now",
        "cover_now",
        title,
        f"Hours of episodes by kind, %, {source.month_words}",
        table,
        size="full",
    )


def _by_month(source: Source, part: str) -> Figure:
    now = source.now(_TABLE, part=part)
    name = sentence(part_words(part))
    if not now:
        title = f"{name}: no episode this month"
    elif now["cover_rate"] is None:
        title = f"{name}: none of {shown(now['episode_h'], 'hours')} can be assessed"
    else:
        title = f"{name}: {shown(now['cover_rate'], 'share')} of the hours in limit"
    key, subtitle = f"cover-months-{part}", f"Hours not in limit, % of episode hours, {source.period}"
    table = as_table(
        source.by_month(_TABLE, part=part), key, f"{name}: hours of episodes by month", MONTH | _COLUMNS
    )
    return Figure(key, "cover_by_month", title, subtitle, table)


def _by_ward(source: Source, part: str) -> Figure:
    rows = source.by_ward(_TABLE, part=part)
    name = sentence(part_words(part))
    outside = rows.filter(pl.col("episode_h") > pl.col("in_limit_h")).height
    title = f"{name}: hours not in limit in {outside} of {counted(rows.height, 'ward')}"
    key = f"cover-wards-{part}"
    subtitle = f"Hours not in limit, % of the ward's episode hours, {source.month_words}"
    table = as_table(rows, key, f"{name}: hours of episodes by ward", WARD_COLUMN | _COLUMNS)
    return Figure(
        key, "cover_by_ward", title if rows.height else f"{name}: no episode this month", subtitle, table
    )


def _wards_by_month(source: Source, parts: list[str]) -> tuple[Figure, ...]:
    """Return the last months of each ward, for the part with the most hours not in limit; none where all were."""
    rows = source.facts(_TABLE).filter(
        pl.col("ward") != SITE, pl.col("episode_h") > 0, pl.col("part").is_in(parts),
        pl.col("month").is_in(source.months[-_WARD_MONTHS:]),
    )  # fmt: skip
    outside = rows.group_by("part").agg(hours=(pl.col("episode_h") - pl.col("in_limit_h")).sum())
    parted = outside.filter(pl.col("hours") > 0).sort("hours", "part", descending=[True, False])
    if parted.is_empty():
        return ()
    part = parted["part"][0]
    own = rows.filter(part=part).sort("ward", "month")
    wards = own["ward"].unique(maintain_order=True).to_list()
    drawn = own.filter(pl.col("ward").is_in(wards[:_MOST_WARDS]))
    slipped = own.filter(pl.col("episode_h") > pl.col("in_limit_h"))["ward"].n_unique()
    key, name, left = "cover-ward-months", sentence(part_words(part)), len(wards) - _MOST_WARDS
    return (
        Figure(
            key, "ward_months",
            f"{name}: hours not in limit in {slipped} of {counted(len(wards), 'ward')} over {_WARD_MONTHS} months",
            f"Hours not in limit, % of the ward's episode hours, up to {source.month_words}; one scale for all",
            as_table(drawn, key, f"{name}: hours of episodes by ward and month", WARD_COLUMN | MONTH | _COLUMNS),
            size="full", note=f"{counted(left, 'more ward')} in the tables." if left > 0 else "",
        ),
    )  # fmt: skip
