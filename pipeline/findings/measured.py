"""The measures at a glance: which columns each is read from, and how its last month reads."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import polars as pl

from pipeline.findings.charting import LEAST_BASELINE, Charted, chart_shares, chart_values, run_now, side
from pipeline.findings.model import DECIDE, LOOK, STEADY, UNKNOWN, Measure, Point
from pipeline.findings.source import Source
from pipeline.findings.wording import counted, part_words, sentence
from pipeline.measures.run_rules import BEYOND_LIMITS, RUN_OF_8
from pipeline.site_rules import SiteRules


@dataclass(frozen=True)
class _Wanted:
    """One measure: ``total`` is empty where it is a value and not a count out of a total."""

    key: str
    group: str
    label: str
    subject: str
    table: str
    section: str
    count: str
    total: str = ""
    unit: str = "share"
    part: str = ""


_OF_PARTS = (
    _Wanted(
        "cover",
        "Time with a part in limit",
        "{}",
        "{} time in limit",
        "part_cover_monthly",
        "cover",
        "cover_rate",
    ),
    _Wanted(
        "overruns",
        "Parts past the limit",
        "{}",
        "{}s past the limit",
        "part_overrun_monthly",
        "overruns",
        "overrun",
        "decided",
    ),
    _Wanted(
        "fresh",
        "New part for a new patient",
        "{}",
        "{}s new for a new patient",
        "fresh_part_monthly",
        "fresh",
        "fresh",
        "starts",
    ),
)
_OF_UNITS = (
    _Wanted(
        "changeovers",
        "Between patients",
        "Without proof of disinfection",
        "Changeovers without proof of disinfection",
        "changeover_monthly",
        "changeovers",
        "unprotected",
        "changeovers",
    ),
    _Wanted(
        "turnaround",
        "Between patients",
        "Median time until disinfected",
        "Median time until disinfected",
        "turnaround_monthly",
        "turnaround",
        "median_h",
        unit="hours",
    ),
    _Wanted(
        "counts",
        "Between patients",
        "Counts that agree with records",
        "Counts that agree with the records",
        "count_check_monthly",
        "counts",
        "agrees",
        "assessed",
    ),
    _Wanted(
        "water",
        "Water and warmth",
        "Water hung to water modelled",
        "Water hung to water modelled",
        "water_monthly",
        "water",
        "hung_to_modelled",
        unit="ratio",
    ),
    _Wanted(
        "warmth",
        "Water and warmth",
        "Median warm-up",
        "Median warm-up",
        "powered_run_monthly",
        "warmth",
        "warmup_median_min",
        unit="minutes",
    ),
)
_OF_STORES = (
    _Wanted(
        "parts",
        "Issued to fitted",
        "{}",
        "{}s issued to fitted",
        "part_use_monthly",
        "parts",
        "issued_to_fitted",
        unit="ratio",
    ),
)
_THERAPY = _Wanted(
    "therapy",
    "Activity",
    "Therapy days per 1,000 patient-days",
    "Therapy days per 1,000 patient-days",
    "rate_monthly",
    "parts",
    "therapy_days_per_1000_patient_days",
    unit="number",
)


def measures(source: Source) -> tuple[Measure, ...]:
    """Return every measure of the page, in its order."""
    parts = [wanted for kind in _OF_PARTS for wanted in _per_part(kind, source.rules)]
    stores = [wanted for kind in _OF_STORES for wanted in _per_part(kind, source.rules)]
    return tuple(_measure(wanted, source) for wanted in (*parts, *_OF_UNITS, *stores, _THERAPY))


def _per_part(kind: _Wanted, rules: SiteRules) -> list[_Wanted]:
    """Return the measure for each part that the site has a rule for."""
    applies = {"overruns": lambda rule: rule.max_days is not None, "parts": lambda _: True}
    judged_parts = [
        part
        for part, rule in sorted(rules.parts.items())
        if applies.get(kind.key, lambda rule: rule.per_patient)(rule)
    ]
    return [_for_part(kind, part) for part in judged_parts]


def _for_part(kind: _Wanted, part: str) -> _Wanted:
    name = sentence(part_words(part))
    return replace(kind, key=f"{kind.key}-{part}", label=name, subject=kind.subject.format(name), part=part)


def _measure(wanted: _Wanted, source: Source) -> Measure:
    charted = _charted(wanted, source)
    model = source.models[wanted.table]
    status, reading = judged(charted, model.text("better"))
    return Measure(
        key=wanted.key,
        group=wanted.group,
        label=wanted.label,
        subject=wanted.subject,
        model=model.name,
        unit=wanted.unit,
        better=model.text("better"),
        points=charted.points,
        reference=charted.reference,
        difference=charted.difference,
        status=status,
        reading=reading,
        section=wanted.section,
    )


def _charted(wanted: _Wanted, source: Source) -> Charted:
    rows = source.up_to_now(wanted.table, **({"part": wanted.part} if wanted.part else {}))
    if wanted.total:
        return chart_shares(counts_by_month(rows, wanted.count, wanted.total), source.months, source.rules)
    values = dict(zip(rows["month"], rows[wanted.count], strict=True))
    most = 1.0 if wanted.unit == "share" else math.inf
    return chart_values(values, source.months, source.rules, most)


def counts_by_month(rows: pl.DataFrame, count: str, total: str) -> dict[str, tuple[int, int]]:
    """Return count and total of each month; ``assessed`` is the pairs of counts that can be assessed."""
    if total == "assessed":
        rows = rows.with_columns(assessed=pl.col("pairs") - pl.col("not_assessable"))
    return {
        month: (int(part), int(whole)) for month, part, whole in rows.select("month", count, total).rows()
    }


def judged(charted: Charted, better: str) -> tuple[str, str]:
    """Return the status of the last month and how it reads; only a rule of the chart makes a claim."""
    now, reference = charted.points[-1], charted.reference
    if now.value is None:
        return UNKNOWN, "Nothing to measure this month"
    if len(reference.months) < LEAST_BASELINE:
        return UNKNOWN, f"Only {counted(len(reference.months), 'month')} to compare with"
    if now.signal:
        return (DECIDE if _is_worse(now, better) else LOOK), _signal_reading(now, charted.points)
    if now.upper is None:
        same = side(now) == 0
        return (
            STEADY if same else LOOK
        ), "As in the baseline" if same else "Unlike a baseline without variation"
    return STEADY, "Within its limits, no run"


def _is_worse(now: Point, better: str) -> bool:
    return side(now) == {"lower": 1, "higher": -1}.get(better, 0)


def _signal_reading(now: Point, points: tuple[Point, ...]) -> str:
    above = side(now) > 0
    if now.signal == BEYOND_LIMITS:
        return "Above its upper limit" if above else "Below its lower limit"
    assert now.signal == RUN_OF_8
    return f"{'Above' if above else 'Below'} the baseline for {len(run_now(points))} months"
