"""The measures at a glance: which are charted, which stand beside them unjudged, and how the month reads."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.findings.charted import charts_of, difference_from, points_of, reference_of
from pipeline.findings.judging import judged
from pipeline.findings.model import NOT_JUDGED, Measure, Point, Reference
from pipeline.findings.naming import kind_of
from pipeline.findings.source import Source
from pipeline.findings.wording import part_words, sentence

_OF_UNITS = ("unprotected_changeovers", "turnaround", "count_agreement", "water_per_therapy_day")


@dataclass(frozen=True)
class _Beside:
    """A value by month that is shown and not judged; ``part`` where it is of one."""

    key: str
    label: str
    table: str
    section: str
    column: str
    unit: str
    part: str = ""


_BESIDE = (
    _Beside("turnaround-median", "Median time until disinfected", "turnaround_monthly", "turnaround", "median_h",
            "hours"),
    _Beside("water-ratio", "Water hung to water modelled", "water_monthly", "water", "hung_to_modelled", "ratio"),
    _Beside("warmth", "Median warm-up", "powered_run_monthly", "warmth", "warmup_median_min", "minutes"),
    _Beside("therapy", "Therapy days per 1,000 patient-days", "rate_monthly", "parts",
            "therapy_days_per_1000_patient_days", "number"),
)  # fmt: skip


def measures(source: Source) -> tuple[Measure, ...]:
    """Return every measure of the page, in its order."""
    issued = [
        _Beside(f"issued:{part}", f"{sentence(part_words(part))}s issued to fitted", "part_use_monthly", "parts",
                "issued_to_fitted", "ratio", part)
        for part in sorted(source.rules.parts)
    ]  # fmt: skip
    charted = (_charted(source, measure) for measure in charted_measures(source))
    return (*charted, *(_beside(source, wanted) for wanted in (*_BESIDE, *issued)))


def charted_measures(source: Source) -> list[str]:
    """Return the measures that the site is charted by, in the order of the page."""
    of_parts = (
        ("part_cover", source.patient_parts),
        ("overrun_of_due", source.limited_parts),
        ("fresh_parts", source.patient_parts),
    )
    return [*(f"{base}:{part}" for base, parts in of_parts for part in parts), *_OF_UNITS, *source.steps]


def _charted(source: Source, measure: str) -> Measure:
    kind, series, charts = kind_of(measure), source.series.get(measure), charts_of(source, measure)
    points, reference = points_of(source, series, charts), reference_of(series, charts)
    status, reading = judged(source, charts, points[-1].value)
    return Measure(
        key=measure,
        group=kind.group,
        label=kind.label,
        subject=kind.subject,
        unit=kind.unit,
        counted=kind.counted,
        points=points,
        reference=reference,
        difference=difference_from(reference, points[-1], series.kind) if series else None,
        status=status,
        reading=reading,
        section=kind.section,
    )


def _beside(source: Source, wanted: _Beside) -> Measure:
    rows = source.up_to_now(wanted.table, **({"part": wanted.part} if wanted.part else {}))
    values = dict(zip(rows["month"], rows[wanted.column], strict=True))
    return Measure(
        key=wanted.key,
        group="Beside them, without a chart",
        label=wanted.label,
        subject=wanted.label,
        unit=wanted.unit,
        counted="",
        points=tuple(Point(month, values.get(month)) for month in source.months),
        reference=Reference((), False),
        difference=None,
        status=NOT_JUDGED,
        reading="Shown for context",
        section=wanted.section,
    )
