"""The section about water: what was hung beside what flow and humidity needed, by estimate."""

from __future__ import annotations

import polars as pl

from pipeline.findings.control_figures import control_figures
from pipeline.findings.days import empty_by_hour
from pipeline.findings.figures import section_of
from pipeline.findings.model import WARD, Figure, Section, Table
from pipeline.findings.source import MONTH, Source, as_table, number, ward_table, whole
from pipeline.findings.water_balance import water_balance
from pipeline.findings.wording import all_cases, counted, shown

_TABLE = "water_monthly"
_COLUMNS = {
    "therapy_days": ("Therapy days", "number"),
    "device_days": ("Device-days", "count"),
    "bags_hung": ("Bags hung", "count"),
    "water_hung_ml": ("Water hung", "millilitres"),
    "water_hung_ml_per_therapy_day": ("Hung per therapy day", "millilitres"),
    "water_modelled_ml_per_therapy_day": ("Modelled per therapy day", "millilitres"),
    "hung_to_modelled": ("Hung to modelled", "ratio"),
    "dry_therapy_min": ("Therapy after modelled empty", "minutes"),
}


def water(source: Source) -> Section:
    """Return the water hung beside the water that flow and humidity needed, and where the gap between them lies."""
    told, audited, balance = water_balance(source)
    charts = control_figures(source, "water_per_therapy_day", "water")
    return section_of(
        source,
        "water",
        _TABLE,
        WARD,
        paragraphs=(_water_words(source), told),
        figures=(_water_by_month(source), *charts, *empty_by_hour(source), *audited),
        tables=(dry_bags(source), *balance, ward_table(source, _TABLE, "Water", _COLUMNS)),
        caveats=source.models["bag_runs"].header["note"],
    )


def _water_words(source: Source) -> str:
    now = source.now(_TABLE)
    if number(now.get("bags_hung")) is None:
        return f"The records of water bags do not reach to the end of {source.month_words}."
    days = shown(now["therapy_days"], "number")
    return f"{counted(whole(now['bags_hung']), 'bag')} hung over {days} therapy days in {source.month_words}."


def _water_by_month(source: Source) -> Figure:
    now = source.now(_TABLE)
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
    table = as_table(source.by_month(_TABLE), "water-months", "Water by month", MONTH | _COLUMNS)
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
