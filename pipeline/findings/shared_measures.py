"""Measures as they are shared: months with a small count left open, and judged only where no month is."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from pipeline.disclosure import NOTHING, Printed, Profile, Split, printed
from pipeline.findings.charted import difference_from, points_of, reference_of
from pipeline.findings.judging import judged
from pipeline.findings.model import NOT_JUDGED, UNKNOWN, Measure, Point, Reference
from pipeline.findings.source import SITE, Source, whole
from pipeline.signals.charts import Chart, monthly_chart

#: Measures that are a count out of a total, by their key without the part.
SHARES = ("overrun_of_due", "fresh_parts", "unprotected_changeovers", "turnaround", "count_agreement")

#: Measures that are a value, and the count that a value rests on besides the patients: table and column.
VALUES = {
    "part_cover": ("", ""),
    "turnaround-median": ("turnaround_monthly", "reprocessed"),
    "water_per_therapy_day": ("", ""),
    "water-ratio": ("", ""),
    "warmth": ("powered_run_monthly", "reached"),
    "issued": ("part_use_monthly", "fitted"),
    "therapy": ("", ""),
}

#: Digits of a value: one in full could tell the one case that it is.
_DIGITS = {"share": 3, "hours": 1, "minutes": 0, "ratio": 2, "number": 1, "millilitres": 0}

#: Distinct patients with therapy by ward (`SITE` for all) and month.
Patients = Mapping[tuple[str, str], int]


@dataclass(frozen=True)
class Shared:
    """A measure as it may leave; where it is a share, what is printed of each month, and the chart made of that."""

    measure: Measure
    shown: Mapping[str, Printed] = field(default_factory=dict)
    chart: Chart | None = None


def key_and_part(measure: Measure) -> tuple[str, str]:
    """Return what a measure's key begins with, and the part that it is about, empty for none."""
    kind, _, part = measure.key.partition(":")
    return kind, part


def shared_measure(
    measure: Measure, source: Source, patients: Patients, profile: Profile, silent: Collection[str]
) -> Shared | None:
    """Return what may be told of a measure, None where it is not known to be safe; no counts of silent months."""
    kind, _ = key_and_part(measure)
    if kind in SHARES:
        shown = _printed(measure, profile)
        return _share(measure, source, shown | dict.fromkeys(shown.keys() & silent, NOTHING))
    return _value(measure, source, patients, profile) if kind in VALUES else None


def printed_months(measures: Sequence[Measure], profile: Profile) -> dict[str, dict[str, Printed]]:
    """Return what each month prints of the site's counts, by measure."""
    months: dict[str, dict[str, Printed]] = {}
    for measure in measures:
        if key_and_part(measure)[0] in SHARES:
            for month, row in _printed(measure, profile).items():
                months.setdefault(month, {})[measure.key] = row
    return months


def patients_by_ward(source: Source) -> Patients:
    """Count the patients with therapy in each month, of each ward and of the site."""
    days = source.facts("therapy_days").filter(pl.col("patient_key").is_not_null())
    months = days.with_columns(month=pl.col("local_date").dt.strftime("%Y-%m"))
    everywhere = months.with_columns(ward=pl.lit(SITE))
    counted = (
        pl.concat([months, everywhere], how="vertical_relaxed")
        .filter(pl.col("ward").is_not_null())
        .group_by("ward", "month")
        .agg(pl.col("patient_key").n_unique())
    )
    return {(ward, month): count for ward, month, count in counted.rows()}


def enough(count: int, profile: Profile) -> bool:
    """Say whether a value may be told that rests on so many patients or events."""
    return count > profile.hides


def rounded(value: float, unit: str) -> float:
    """Return a value without the digits that would tell more than a reader needs; never all for what is not all."""
    digits = _DIGITS[unit]
    near = round(value, digits)
    return min(near, 1 - 10**-digits) if unit == "share" and value < 1 else near


def _printed(measure: Measure, profile: Profile) -> dict[str, Printed]:
    """Return what may be shown of the months that have a total."""
    return {
        point.month: printed(Split(whole(point.count), whole(point.total)), profile)
        for point in measure.points
        if point.total
    }


def _share(measure: Measure, source: Source, shown: dict[str, Printed]) -> Shared:
    """Return a share with the chart of its printed months; gaps where counts are small would bend a baseline."""
    series = source.series.get(measure.key)
    if series is None:
        return Shared(measure)
    pairs = [row.numbers if (row := shown.get(month)) and row.numbers else (0, 0) for month in series.months]
    counts, totals = zip(*pairs, strict=True)
    series = replace(series, counts=tuple(map(float, counts)), totals=tuple(map(float, totals)))
    is_whole = all(row.numbers for row in shown.values())
    chart = monthly_chart(series, source.rules) if is_whole else None
    charts = (chart,) if chart else ()
    points, reference = points_of(source, series, charts), reference_of(series, charts)
    status, reading = judged(source, charts, points[-1].value)
    if (now := shown.get(source.month)) and not now.numbers:
        status, reading = UNKNOWN, f"{now.words}: too few to judge"
    elif not is_whole and points[-1].value is not None:
        status, reading = UNKNOWN, "Not judged: months with small counts are not shown"
    shared = replace(
        measure,
        points=points,
        reference=reference,
        difference=difference_from(reference, points[-1], series.kind),
        status=status,
        reading=reading,
    )
    return Shared(shared, shown, chart)


def _value(measure: Measure, source: Source, patients: Patients, profile: Profile) -> Shared:
    """Return a value of the months in which enough patients and events stand behind it; it is not judged."""
    bases = _bases(measure, source)
    points = tuple(
        Point(point.month, rounded(point.value, measure.unit))
        if point.value is not None
        and enough(patients.get((SITE, point.month), 0), profile)
        and (bases is None or enough(bases.get(point.month, 0), profile))
        else Point(point.month, None)
        for point in measure.points
    )
    few = measure.now.value is not None and points[-1].value is None
    reading = "Not shown: too few patients or events" if few else "Shown for context"
    shared = replace(measure, points=points, reference=Reference((), False), difference=None)
    return Shared(replace(shared, status=UNKNOWN if few else NOT_JUDGED, reading=reading))


def _bases(measure: Measure, source: Source) -> dict[str, int] | None:
    kind, part = key_and_part(measure)
    table, column = VALUES[kind]
    if not table:
        return None
    rows = source.up_to_now(table, **({"part": part} if part else {}))
    return {month: whole(count) for month, count in rows.select("month", column).rows()}
