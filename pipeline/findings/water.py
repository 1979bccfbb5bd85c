"""The sections about water and about warmth: estimates from what the units logged."""

from __future__ import annotations

import polars as pl

from pipeline.findings.figures import control_figure, section_of
from pipeline.findings.model import WARD, Figure, Measure, Section, Table
from pipeline.findings.source import MONTH, Source, as_table, number, ward_table, whole
from pipeline.findings.wording import all_cases, counted, shown

_WATER_TABLE, _WARMTH_TABLE = "water_monthly", "powered_run_monthly"
_WATER = {
    "therapy_days": ("Therapy days", "number"),
    "device_days": ("Device-days", "count"),
    "bags_hung": ("Bags hung", "count"),
    "water_hung_ml": ("Water hung", "millilitres"),
    "water_hung_ml_per_therapy_day": ("Hung per therapy day", "millilitres"),
    "water_modelled_ml_per_therapy_day": ("Modelled per therapy day", "millilitres"),
    "hung_to_modelled": ("Hung to modelled", "ratio"),
    "dry_therapy_min": ("Therapy after modelled empty", "minutes"),
}
_WARMTH = {
    "runs": ("Runs", "count"),
    "reached": ("Reached target", "count"),
    "warmup_median_min": ("Median warm-up", "minutes"),
    "warmup_p90_min": ("90% by", "minutes"),
    "in_use_before_target_min": ("Use before target", "minutes"),
    "low_humidity_h": ("Low humidity in use", "hours"),
}
_HUMIDITY = {name: _WARMTH[name] for name in ("low_humidity_h", "in_use_before_target_min")}


def water(source: Source, measures: tuple[Measure, ...]) -> Section:
    """Return the water hung beside the water that flow and humidity needed."""
    measure = next(item for item in measures if item.key == "water")
    ratio = control_figure(
        measure, f"Water hung over water modelled, {source.period}; the axis does not begin at 0"
    )
    return section_of(
        source,
        "water",
        _WATER_TABLE,
        WARD,
        paragraphs=(_water_words(source),),
        figures=(_water_by_month(source), ratio),
        tables=(dry_bags(source), ward_table(source, _WATER_TABLE, "Water", _WATER)),
        caveats=source.models["bag_runs"].header["note"],
    )


def _water_words(source: Source) -> str:
    now = source.now(_WATER_TABLE)
    if number(now.get("bags_hung")) is None:
        return f"The records of water bags do not reach to the end of {source.month_words}."
    days = shown(now["therapy_days"], "number")
    return f"{counted(whole(now['bags_hung']), 'bag')} hung over {days} therapy days in {source.month_words}."


def _water_by_month(source: Source) -> Figure:
    now = source.now(_WATER_TABLE)
    hung, modelled = (
        number(now.get("water_hung_ml_per_therapy_day")),
        number(now.get("water_modelled_ml_per_therapy_day")),
    )
    if hung is None or modelled is None:
        title = "Hung and modelled water cannot both be given this month"
    else:
        title = (
            f"{shown(hung, 'millilitres')} hung and {shown(modelled, 'millilitres')} modelled per therapy day"
        )
    subtitle = f"Water per therapy day, mL, {source.period}; the modelled part is an estimate"
    table = as_table(source.by_month(_WATER_TABLE), "water-months", "Water by month", MONTH | _WATER)
    return Figure("water-months", "water_lines", title, subtitle, table)


def dry_bags(source: Source) -> Table:
    """Return the month's bags with therapy after the model has them empty."""
    rows = source.in_month("bag_runs", "hung_at").filter(pl.col("dry_therapy_min") > 0)
    columns = {
        "hung_at": ("Hung", "instant"), "unit_id": ("Unit", "unit"), "volume_ml": ("Volume", "millilitres"),
        "modelled_empty_at": ("Modelled empty", "instant"), "next_hung_at": ("Next bag", "instant"),
        "dry_therapy_min": ("Therapy after that", "minutes"),
    }  # fmt: skip
    caption = all_cases(
        f"Bags that the model has empty during therapy, hung in {source.month_words}", rows.height
    )
    return as_table(rows, "dry-bags", caption, columns, "None this month.")


def warmth(source: Source) -> Section:
    """Return how long units took to warm up, and therapy below the set humidity."""
    rows = source.by_month(_WARMTH_TABLE)
    table = as_table(rows, "warmth-months", "Warm-up by month", MONTH | _WARMTH)
    humidity = as_table(rows, "low-humidity", "Low humidity by month", MONTH | _HUMIDITY)
    minutes = f"Minutes from power-on to target, median and 90th percentile, {source.period}"
    hours = f"Hours of therapy more than 2 °C below the set dew point, {source.period}"
    figures = (
        Figure("warmth-months", "warmth_lines", _warmth_title(source), minutes, table),
        Figure("low-humidity", "humidity_hours", _humidity_title(source), hours, humidity),
    )
    tables = (ward_table(source, _WARMTH_TABLE, "Warm-up", _WARMTH),)
    return section_of(source, "warmth", _WARMTH_TABLE, WARD, figures=figures, tables=tables)


def _warmth_title(source: Source) -> str:
    now = source.now(_WARMTH_TABLE)
    if number(now.get("warmup_median_min")) is None:
        return "No warm-up to the target was logged this month"
    runs, reached = whole(now["runs"]), whole(now["reached"])
    half = shown(now["warmup_median_min"], "minutes")
    return f"{reached:,} of {runs:,} runs reached the target, half of them by {half}"


def _humidity_title(source: Source) -> str:
    hours = number(source.now(_WARMTH_TABLE).get("low_humidity_h"))
    if hours is None:
        return "Low humidity cannot be told: no set dew point was logged"
    return (
        f"{shown(hours, 'hours')} of therapy at low humidity"
        if hours
        else "No therapy at low humidity was logged"
    )
