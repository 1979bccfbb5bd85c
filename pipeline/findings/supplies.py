"""The section about parts needed, fitted and issued, and how much therapy there was."""

from __future__ import annotations

from pipeline.findings.figures import section_of
from pipeline.findings.model import PURCHASING, Figure, Section
from pipeline.findings.source import MONTH, Source, as_table, number, ward_table, whole
from pipeline.findings.wording import part_words, sentence, shown

_TABLE = "part_use_monthly"
_COLUMNS = {
    "stays_started": ("Stays begun", "count"),
    "therapy_days": ("Therapy days", "number"),
    "needed": ("Needed", "count"),
    "fitted": ("Fitted", "count"),
    "issued": ("Issued", "count"),
    "issued_to_fitted": ("Issued to fitted", "ratio"),
}


def supplies(source: Source) -> Section:
    """Return what the rules required beside what was fitted and what left the stores."""
    parts = (_by_month(source, part) for part in sorted(source.rules.parts))
    told = "Needed follows from the stays that began in the month; fitted and issued are those of the month itself."
    return section_of(
        source,
        "parts",
        _TABLE,
        PURCHASING,
        paragraphs=(told,),
        figures=(*parts, _rate(source), _activity(source)),
        tables=(ward_table(source, _TABLE, "Parts", _COLUMNS, by="part"),),
        caveats=source.models["rate_monthly"].header["caveat"],
    )


def _rate(source: Source) -> Figure:
    column = "therapy_days_per_1000_patient_days"
    now = shown(number(source.now("rate_monthly").get(column)), "number")
    columns = MONTH | {
        "therapy_days": ("Therapy days", "number"),
        "patient_days": ("Patient-days", "count"),
        column: ("Per 1,000", "number"),
    }
    table = as_table(
        source.by_month("rate_monthly"), "therapy-rate", "Therapy per 1,000 patient-days by month", columns
    )
    subtitle = f"Therapy days per 1,000 patient-days of the ward census, {source.period}"
    return Figure(
        "therapy-rate", "therapy_rate", f"{now} therapy days per 1,000 patient-days", subtitle, table
    )


def _activity(source: Source) -> Figure:
    now = source.now("water_monthly")
    days, patients = (
        shown(number(now.get("therapy_days")), "number"),
        shown(whole(now.get("device_days")), "count"),
    )
    columns = MONTH | {"therapy_days": ("Therapy days", "number"), "device_days": ("Device-days", "count")}
    table = as_table(source.by_month("water_monthly"), "activity", "Therapy by month", columns)
    title = f"{days} therapy days, {patients} device-days"
    return Figure(
        "activity", "therapy_days", title, f"Therapy days (hours over 24) a month, {source.period}", table
    )


def _by_month(source: Source, part: str) -> Figure:
    now = source.now(_TABLE, part=part)
    name, key = sentence(part_words(part)), f"parts-{part}"
    amounts = [(word, number(now.get(word))) for word in ("needed", "fitted", "issued")]
    told = ", ".join(f"{shown(value, 'count')} {word}" for word, value in amounts if value is not None)
    title = f"{name}: {told or 'nothing recorded this month'}"
    table = as_table(source.by_month(_TABLE, part=part), key, f"{name}: pieces by month", MONTH | _COLUMNS)
    return Figure(key, "part_lines", title, f"Pieces a month, {source.period}", table, size="third")
