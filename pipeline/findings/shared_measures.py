"""Measures as they are shared: months with a small count left open, and judged only where no month is."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from pipeline.disclosure import NOTHING, Printed, Profile, Split, printed
from pipeline.findings.charting import Charted, chart_shares, chart_values
from pipeline.findings.measured import judged
from pipeline.findings.model import UNKNOWN, Measure, Reference
from pipeline.findings.source import SITE, Source, whole

#: Measures that are a count out of a total, by the first word of their key.
SHARES = ("overruns", "fresh", "changeovers", "counts")

#: Measures that are a value, and the count that a value rests on besides the patients: table and column.
VALUES = {
    "cover": ("", ""),
    "turnaround": ("turnaround_monthly", "reprocessed"),
    "water": ("", ""),
    "warmth": ("powered_run_monthly", "reached"),
    "parts": ("part_use_monthly", "fitted"),
    "therapy": ("", ""),
}

#: Digits of a value: one in full could tell the one case that it is.
_DIGITS = {"share": 3, "hours": 1, "minutes": 0, "ratio": 2, "number": 1}

#: Distinct patients with therapy by ward (`SITE` for all) and month.
Patients = Mapping[tuple[str, str], int]


@dataclass(frozen=True)
class Shared:
    """A measure as it may leave, and what is printed of each month's count and total where it is a share."""

    measure: Measure
    shown: Mapping[str, Printed] = field(default_factory=dict)


def kind_of(measure: Measure) -> tuple[str, str]:
    """Return the first word of a measure's key, and the part that it is about, if any."""
    kind, _, part = measure.key.partition("-")
    return kind, part


def shared_measure(
    measure: Measure, source: Source, patients: Patients, profile: Profile, silent: Collection[str]
) -> Shared | None:
    """Return what may be told of a measure, None where it is not known to be safe; no counts of silent months."""
    kind, _ = kind_of(measure)
    if kind in SHARES:
        shown = _printed(measure, profile)
        return _share(measure, source, shown | dict.fromkeys(shown.keys() & silent, NOTHING))
    return _value(measure, source, patients, profile) if kind in VALUES else None


def printed_months(measures: Sequence[Measure], profile: Profile) -> dict[str, dict[str, Printed]]:
    """Return what each month prints of the site's counts, by measure."""
    months: dict[str, dict[str, Printed]] = {}
    for measure in measures:
        if kind_of(measure)[0] in SHARES:
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
        point.month: printed(Split(point.count or 0, point.total), profile)
        for point in measure.points
        if point.total
    }


def _share(measure: Measure, source: Source, shown: dict[str, Printed]) -> Shared:
    counts = {month: row.numbers for month, row in shown.items() if row.numbers}
    charted = _with_gaps(chart_shares(counts, source.months, source.rules))
    now = shown.get(source.month)
    few = "" if not now or now.numbers else f"{now.words}: too few to judge"
    return Shared(_judged(measure, charted, few, is_whole=len(counts) == len(shown)), shown)


def _with_gaps(charted: Charted) -> Charted:
    """Return the months without the 0 of 0 that stands for one that is not told."""
    points = tuple(
        point if point.total else replace(point, count=None, total=None) for point in charted.points
    )
    return replace(charted, points=points)


def _value(measure: Measure, source: Source, patients: Patients, profile: Profile) -> Shared:
    known = {point.month: point.value for point in measure.points if point.value is not None}
    bases = _bases(measure, source)
    told = {
        month: rounded(value, measure.unit)
        for month, value in known.items()
        if enough(patients.get((SITE, month), 0), profile)
        and (bases is None or enough(bases.get(month, 0), profile))
    }
    most = 1.0 if measure.unit == "share" else math.inf
    charted = chart_values(told, source.months, source.rules, most)
    few = "Not shown: too few patients or events" if source.month in known.keys() - told.keys() else ""
    return Shared(_judged(measure, charted, few, is_whole=len(told) == len(known)))


def _bases(measure: Measure, source: Source) -> dict[str, int] | None:
    kind, part = kind_of(measure)
    table, column = VALUES[kind]
    if not table:
        return None
    rows = source.up_to_now(table, **({"part": part} if part else {}))
    return {month: whole(count) for month, count in rows.select("month", column).rows()}


def _judged(measure: Measure, charted: Charted, few: str, *, is_whole: bool) -> Measure:
    """Return the measure with its shared months; gaps where counts are small would bend a baseline."""
    if not is_whole:
        charted = _without_baseline(charted)
    status, reading = judged(charted, measure.better)
    if few or (not is_whole and charted.points[-1].value is not None):
        status, reading = UNKNOWN, few or "Not judged: months with small counts are not shown"
    return replace(
        measure,
        points=charted.points,
        reference=charted.reference,
        difference=charted.difference,
        status=status,
        reading=reading,
    )


def _without_baseline(charted: Charted) -> Charted:
    points = tuple(replace(point, centre=None, lower=None, upper=None, signal="") for point in charted.points)
    return Charted(points, Reference((), False))
