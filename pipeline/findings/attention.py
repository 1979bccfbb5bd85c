"""What needs attention first: a claim stands here only where its rule fires."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.findings.changeovers import cases
from pipeline.findings.charted import run_now
from pipeline.findings.counts import count_cases, disagreements
from pipeline.findings.fresh import carried_over
from pipeline.findings.model import (
    DECIDE,
    INFECTION_CONTROL,
    LOOK,
    PURCHASING,
    QUALITY_LEAD,
    STATUSES,
    UNKNOWN,
    WARD,
    Attention,
    Difference,
    Measure,
    Share,
)
from pipeline.findings.months import month_name, months_in_words
from pipeline.findings.plan_tables import Plan
from pipeline.findings.purchasing import to_order
from pipeline.findings.quality import uncovered
from pipeline.findings.quiet import quiet
from pipeline.findings.source import Source, number, whole
from pipeline.findings.water import dry_bags
from pipeline.findings.wording import (
    PROOFS,
    UNPROTECTED,
    counted,
    difference_in_words,
    listed,
    lower_first,
    of_total,
    part_words,
    shown,
)
from pipeline.measures.intervals import newcombe_difference
from pipeline.measures.run_rules import RUN_OF_8

_READERS = {
    "changeovers": INFECTION_CONTROL,
    "counts": INFECTION_CONTROL,
    "turnaround": QUALITY_LEAD,
    "parts": PURCHASING,
}

#: Measures whose single cases are always told, whatever their chart says.
_BY_CASE = ("changeovers", "counts")


def attention(
    source: Source, measures: Sequence[Measure], plan: Plan, poor_data: Sequence[str]
) -> tuple[Attention, ...]:
    """Return what needs attention, gravest first; within a status in the order of the page."""
    by_key = {measure.key: measure for measure in measures}
    found = [
        *_poor(poor_data),
        *_uncovered(source),
        *_quiet(source),
        *_changeovers(source, by_key["unprotected_changeovers"]),
        *_carried_over(source),
        *(_signal(measure) for measure in measures if _asks(measure)),
        *_counts(source),
        *_dry_bags(source),
        *_low_humidity(source),
        *to_order(plan),
    ]
    return tuple(sorted(found, key=lambda item: STATUSES.index(item.status)))


def _asks(measure: Measure) -> bool:
    """Say whether a measure's signal belongs here: not one that is simply better than the baseline."""
    is_neither = measure.status == LOOK and measure.counted == "days"
    return (measure.status == DECIDE or is_neither) and measure.section not in _BY_CASE


def _poor(poor_data: Sequence[str]) -> list[Attention]:
    if not poor_data:
        return []
    headline = "This page was published although the data fell short of the site's own gate"
    return [Attention(DECIDE, headline, " ".join(poor_data), QUALITY_LEAD, "quality")]


def _uncovered(source: Source) -> list[Attention]:
    gaps = [part_words(table) for table in uncovered(source)]
    if not gaps:
        return []
    evidence = (
        "Earlier months have such records. What rests on them is left out of every rate and is no good news."
    )
    return [
        Attention(
            UNKNOWN,
            f"No records of {listed(gaps)} for {source.month_words}",
            evidence,
            QUALITY_LEAD,
            "quality",
        )
    ]


def _quiet(source: Source) -> list[Attention]:
    found = quiet(source)
    if not found:
        return []
    kinds = sorted({part_words(item.table) for item in found})
    units = sorted({item.unit_id for item in found if item.unit_id})
    of_units = f" Among them {counted(len(units), 'unit')}." if units else ""
    evidence = (
        f"Nothing new of {listed(kinds)} for longer than their usual rhythm.{of_units} What rests on them is not as "
        "good as it looks."
    )
    return [
        Attention(
            LOOK, f"{counted(len(found), 'source')} of records gone quiet", evidence, QUALITY_LEAD, "quality"
        )
    ]


def _changeovers(source: Source, measure: Measure) -> list[Attention]:
    found = Counter(cases(source)["proof"])
    unprotected = sum(found[proof] for proof in UNPROTECTED)
    by_count = found["counter_only"]
    if not unprotected:
        if not by_count:
            return []
        headline = f"{counted(by_count, 'changeover')} with a risen count and no record"
        return [
            Attention(
                LOOK,
                headline,
                "For infection prevention to judge; each is listed.",
                INFECTION_CONTROL,
                "changeovers",
            )
        ]
    kinds = listed([f"{PROOFS[proof]} ({found[proof]})" for proof in UNPROTECTED if found[proof]])
    beside = (
        f"Besides, {counted(by_count, 'changeover')} with a risen count and no record. " if by_count else ""
    )
    chart = f"Its chart: {lower_first(measure.reading)}. " if measure.now.signal else ""
    told = f"{of_total(measure.now, 'share')}: {kinds}. {_against(measure)} {chart}{beside}"
    evidence = f"{told}Each is listed: a missing record is no proof that nothing was done."
    headline = f"{counted(unprotected, 'changeover')} without proof of a valid disinfection"
    return [Attention(DECIDE, headline, evidence, INFECTION_CONTROL, "changeovers")]


def _carried_over(source: Source) -> list[Attention]:
    rows = carried_over(source).rows()
    if not rows:
        return []
    kinds = listed([f"{part_words(part)} {count:,} of {starts:,} starts" for part, count, starts in rows])
    parts = counted(sum(count for _, count, _ in rows), "part")
    headline = f"{parts} in place at the start of a stay had served another patient"
    evidence = f"By kind: {kinds}. The site's rules ask for a new one; each case is listed."
    return [Attention(DECIDE, headline, evidence, WARD, "fresh")]


def _signal(measure: Measure) -> Attention:
    headline = f"{measure.subject}: {lower_first(measure.reading)}"
    month = month_name(measure.now.month)
    told = of_total(measure.now, measure.unit, measure.counted)
    evidence = f"{month}: {told}. {_against(measure)}{_limits(measure)}"
    if measure.now.signal == RUN_OF_8 and (run := _run_words(measure)):
        evidence = f"{run} {month} alone: {told}."
    return Attention(measure.status, headline, evidence, _READERS.get(measure.section, WARD), measure.section)


def _run_words(measure: Measure) -> str:
    """Tell of a run's months outside the baseline, pooled; empty where there are none or it is no share."""
    run = [point for point in run_now(measure.points) if point.month not in measure.reference.months]
    reference = measure.reference
    if measure.counted != "cases" or not run or reference.count is None or reference.total is None:
        return ""
    since = Share(*(round(sum(getattr(point, name) or 0 for point in run)) for name in ("count", "total")))
    if since.value is None or reference.value is None:
        return ""
    limits = newcombe_difference(since.count, since.total, round(reference.count), round(reference.total))
    difference = Difference(since.value - reference.value, *(limits or (None, None)))
    told = (
        f"{since.count:,} of {since.total:,} ({shown(since.value, 'share')}), against {_reference(measure)}"
    )
    return f"Since {month_name(run[0].month)}, {told}: {difference_in_words(difference, 'share')}."


def _limits(measure: Measure) -> str:
    now = measure.now
    if now.lower is None or now.upper is None:
        return ""
    return f" Limits for this month: {shown(now.lower, measure.unit)} to {shown(now.upper, measure.unit)}."


def _reference(measure: Measure) -> str:
    """Return the baseline's value, months and state in words."""
    reference = measure.reference
    told = f"{shown(reference.value, measure.unit)} in the baseline, {months_in_words(reference.months)}"
    return f"{told}, still provisional" if reference.provisional else told


def _against(measure: Measure) -> str:
    if measure.reference.value is None:
        return "There is no baseline to compare with."
    if measure.difference is None:
        return "This month belongs to the baseline itself."
    return f"Against {_reference(measure)}: {difference_in_words(measure.difference, measure.unit)}."


def _counts(source: Source) -> list[Attention]:
    told = disagreements(source)
    misread = whole(source.now("count_check_monthly").get("likely_misread"))
    if not told and not misread:
        return []
    rows = count_cases(source).rows
    evidence = f"{told}. " if told else ""
    beside = f"{counted(misread, 'pair')} likely rest on one misread number." if misread else ""
    headline = f"{counted(len(rows), 'pair')} of counts do not agree with the records"
    return [Attention(LOOK, headline, f"{evidence}{beside}".strip(), INFECTION_CONTROL, "counts")]


def _dry_bags(source: Source) -> list[Attention]:
    bags = dry_bags(source)
    if not bags.rows:
        return []
    minutes = sum(number(row[-1]) or 0 for row in bags.rows)
    headline = f"The model has {counted(len(bags.rows), 'water bag')} empty while therapy went on"
    after = f"{shown(minutes / 60, 'hours')} of therapy after that, by estimate from flow and dew point."
    evidence = f"{after} Only a look at the bag can tell."
    return [Attention(LOOK, headline, evidence, WARD, "water")]


def _low_humidity(source: Source) -> list[Attention]:
    now = source.now("powered_run_monthly")
    hours = number(now.get("low_humidity_h"))
    if not hours:
        return []
    evidence = (
        "More than 2 °C below the set dew point after the unit had first reached it, as the units logged it."
    )
    return [Attention(LOOK, f"{shown(hours, 'hours')} of therapy at low humidity", evidence, WARD, "warmth")]
