"""The section about warmth: how long units take to their target, beside each other, and therapy below it."""

from __future__ import annotations

from pipeline.findings.figures import section_of
from pipeline.findings.model import WARD, Column, Figure, Section, Table
from pipeline.findings.months import months_in_words
from pipeline.findings.source import MONTH, Source, as_table, number, ward_table, whole
from pipeline.findings.wording import counted, shown
from pipeline.signals.warm_up import SLOW, WarmUp, warm_up

_TABLE = "powered_run_monthly"
_COLUMNS = {
    "runs": ("Runs", "count"),
    "reached": ("Reached target", "count"),
    "warmup_median_min": ("Median warm-up", "minutes"),
    "warmup_p90_min": ("90% by", "minutes"),
    "in_use_before_target_min": ("Use before target", "minutes"),
    "low_humidity_h": ("Low humidity in use", "hours"),
}
_HUMIDITY = {name: _COLUMNS[name] for name in ("low_humidity_h", "in_use_before_target_min")}


def warmth(source: Source) -> Section:
    """Return how long units took to warm up, and therapy below the set humidity."""
    rows = source.by_month(_TABLE)
    table = as_table(rows, "warmth-months", "Warm-up by month", MONTH | _COLUMNS)
    humidity = as_table(rows, "low-humidity", "Low humidity by month", MONTH | _HUMIDITY)
    minutes = f"Minutes from power-on to target, median and 90th percentile, {source.period}"
    hours = f"Hours of therapy more than 2 °C below the set dew point, {source.period}"
    found = warm_up(source.published, source.site_id, source.month)
    figures = (
        Figure("warmth-months", "warmth_lines", _warmth_title(source), minutes, table),
        Figure("low-humidity", "humidity_hours", _humidity_title(source), hours, humidity),
        _units(found),
    )
    tables = (ward_table(source, _TABLE, "Warm-up", _COLUMNS),)
    told = (found.sentence,)
    return section_of(source, "warmth", _TABLE, WARD, paragraphs=told, figures=figures, tables=tables)


def _warmth_title(source: Source) -> str:
    now = source.now(_TABLE)
    if number(now.get("warmup_median_min")) is None:
        return "No warm-up to the target was logged this month"
    runs, reached = whole(now["runs"]), whole(now["reached"])
    half = shown(now["warmup_median_min"], "minutes")
    return f"{reached:,} of {runs:,} runs reached the target, half of them by {half}"


def _humidity_title(source: Source) -> str:
    hours = number(source.now(_TABLE).get("low_humidity_h"))
    if hours is None:
        return "Low humidity cannot be told: no set dew point was logged"
    return (
        f"{shown(hours, 'hours')} of therapy at low humidity"
        if hours
        else "No therapy at low humidity was logged"
    )


def _units(found: WarmUp) -> Figure:
    columns = (
        Column("Unit", "unit"), Column("Runs", "count"), Column("Reached target", "count"), Column("Median", "minutes"),
        Column("Median, low", "minutes"), Column("Median, high", "minutes"), Column("Value", "minutes"),
        Column("Robust z", "number"),
        Column("Runs used before target", "count"), Column("Use before target", "minutes"), Column("Stands apart"),
    )  # fmt: skip
    rows = tuple(
        (unit.unit_id, unit.runs, unit.reached, unit.median_min, *unit.median_limits_min, unit.mean_min, unit.robust_z,
         unit.runs_used_early, unit.used_before_target_min, "slow" if unit.slow else "")
        for unit in found.units
    )  # fmt: skip
    period = months_in_words((found.months[0], found.months[-1]))
    slow = sum(unit.slow for unit in found.units)
    title = f"{slow or 'None'} of {counted(len(found.units), 'unit')} slow to warm up beside the others"
    lines = () if found.pool_mean_min is None else (("pool", found.pool_mean_min),)
    note = (
        f"Slow: {SLOW:g} robust sigmas above the pool's median. A run that ended before its target counts as long as "
        "it was seen. A slow unit is one to have looked at; the log shows no cause."
    )
    return Figure(
        "warm-up-units", "pool_minutes", title,
        f"Mean minutes to the target by unit in the order of names, up to an hour, {period}",
        Table("warm-up-units", "Warm-up by unit", columns, rows), lines=lines, size="full", note=note,
    )  # fmt: skip
