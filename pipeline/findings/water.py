"""The sections about water and about warmth: estimates from what the units logged."""

from __future__ import annotations

import polars as pl

from pipeline.findings.figures import control_figure
from pipeline.findings.model import WARD, Figure, Measure, Section, Table
from pipeline.findings.source import Source, as_table, number, ward_table, whole
from pipeline.findings.wording import counted, shown

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


def water(source: Source, measures: tuple[Measure, ...]) -> Section:
    """Return the water hung beside the water that flow and humidity needed."""
    model = source.models["water_monthly"]
    measure = next(item for item in measures if item.key == "water")
    return Section(
        key="water", model=model.name, title=model.text("title"), question=model.text("question"), reader=WARD,
        paragraphs=(_water_words(source),), caveats=(*model.header["caveat"], *source.models["bag_runs"].header["note"]),
        figures=(
            _water_by_month(source),
            control_figure(measure, f"Water hung over water modelled, ratio, {source.period}"),
        ),
        tables=(
            dry_bags(source),
            ward_table(source, "water_monthly", "Water", _WATER),
        ),
    )  # fmt: skip


def _water_words(source: Source) -> str:
    now = source.now("water_monthly")
    if number(now.get("bags_hung")) is None:
        return f"The records of water bags do not reach to the end of {source.month_words}."
    days = shown(now["therapy_days"], "number")
    return f"{counted(whole(now['bags_hung']), 'bag')} hung over {days} therapy days in {source.month_words}."


def _water_by_month(source: Source) -> Figure:
    now = source.now("water_monthly")
    hung, modelled = number(now.get("water_hung_ml_per_therapy_day")), number(now.get("water_modelled_ml_per_therapy_day"))
    if hung is None or modelled is None:
        title = "Hung and modelled water cannot both be given this month"
    else:
        title = f"{shown(hung, 'millilitres')} hung and {shown(modelled, 'millilitres')} modelled per therapy day"
    table = as_table(source.by_month("water_monthly"), "water-months", "Water by month", {"month": ("Month", "month"), **_WATER})
    return Figure(
        "water-months", "water_lines", title, f"Water per therapy day, mL, {source.period}; the modelled part is an estimate",
        table, size="half",
    )  # fmt: skip


def dry_bags(source: Source) -> Table:
    """Return the month's bags with therapy after the model has them empty."""
    rows = source.in_month("bag_runs", "hung_at").filter(pl.col("dry_therapy_min") > 0)
    columns = {
        "hung_at": ("Hung", "instant"), "unit_id": ("Unit", "text"), "volume_ml": ("Volume", "millilitres"),
        "modelled_empty_at": ("Modelled empty", "instant"), "next_hung_at": ("Next bag", "instant"),
        "dry_therapy_min": ("Therapy after that", "minutes"),
    }  # fmt: skip
    caption = f"Bags hung in {source.month_words} that the model has empty during therapy: {rows.height}"
    return as_table(rows, "dry-bags", caption, columns, "None this month.")


def warmth(source: Source, measures: tuple[Measure, ...]) -> Section:
    """Return how long units took to warm up, and therapy below the set humidity."""
    model = source.models["powered_run_monthly"]
    table = as_table(
        source.by_month("powered_run_monthly"), "warmth-months", "Warm-up by month", {"month": ("Month", "month"), **_WARMTH}
    )
    wards = ward_table(source, "powered_run_monthly", "Warm-up", _WARMTH)
    return Section(
        key="warmth", model=model.name, title=model.text("title"), question=model.text("question"), reader=WARD,
        paragraphs=(), caveats=model.header["caveat"],
        figures=(
            Figure(
                "warmth-months", "warmth_lines", _warmth_title(source),
                f"Minutes from power-on to target, median and 90th percentile, {source.period}", table, size="half",
            ),
            Figure(
                "low-humidity", "humidity_hours", _humidity_title(source),
                f"Hours of therapy more than 2 °C below the set dew point, {source.period}",
                as_table(
                    source.by_month("powered_run_monthly"), "low-humidity", "Low humidity by month",
                    {"month": ("Month", "month"), "low_humidity_h": _WARMTH["low_humidity_h"],
                     "in_use_before_target_min": _WARMTH["in_use_before_target_min"]},
                ), size="half",
            ),
        ),
        tables=(wards,),
    )  # fmt: skip


def _warmth_title(source: Source) -> str:
    now = source.now("powered_run_monthly")
    if number(now.get("warmup_median_min")) is None:
        return "No warm-up to the target was logged this month"
    runs, reached = whole(now["runs"]), whole(now["reached"])
    return f"{reached:,} of {runs:,} runs reached the target, half of them by {shown(now['warmup_median_min'], 'minutes')}"


def _humidity_title(source: Source) -> str:
    hours = number(source.now("powered_run_monthly").get("low_humidity_h"))
    if hours is None:
        return "Low humidity cannot be told: no set dew point was logged"
    return f"{shown(hours, 'hours')} of therapy at low humidity" if hours else "No therapy at low humidity was logged"
