"""What needs attention first: a claim stands here only where its rule fires."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.findings.changeovers import cases
from pipeline.findings.charting import run_now
from pipeline.findings.checks import count_cases, disagreements
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
    Measure,
    Share,
)
from pipeline.findings.months import month_name, months_in_words
from pipeline.findings.parts import carried_over
from pipeline.findings.quality import uncovered
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

_READERS = {
    "changeovers": INFECTION_CONTROL, "counts": INFECTION_CONTROL, "turnaround": QUALITY_LEAD, "parts": PURCHASING,
}  # fmt: skip

#: Measures whose single cases are always told, whatever their chart says.
_BY_CASE = ("changeovers", "counts")


def attention(source: Source, measures: Sequence[Measure], poor_data: Sequence[str]) -> tuple[Attention, ...]:
    """Return what needs attention, gravest first; within a status in the order of the page."""
    by_key = {measure.key: measure for measure in measures}
    found = [
        *_poor(poor_data), *_uncovered(source), *_changeovers(source, by_key["changeovers"]), *_carried_over(source),
        *(_signal(measure) for measure in measures if measure.now.signal and measure.key not in _BY_CASE),
        *_counts(source), *_dry_bags(source), *_low_humidity(source),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda item: STATUSES.index(item.status)))


def _poor(poor_data: Sequence[str]) -> list[Attention]:
    if not poor_data:
        return []
    headline = "This page was published although the data fell short of the site's own gate"
    return [Attention(DECIDE, headline, " ".join(poor_data), QUALITY_LEAD, "quality")]


def _uncovered(source: Source) -> list[Attention]:
    gaps = [part_words(table) for table in uncovered(source)]
    if not gaps:
        return []
    evidence = "Earlier months have such records. What rests on them is left out of every rate and is no good news."
    return [Attention(UNKNOWN, f"No records of {listed(gaps)} for {source.month_words}", evidence, QUALITY_LEAD, "quality")]


def _changeovers(source: Source, measure: Measure) -> list[Attention]:
    found = Counter(cases(source)["proof"])
    unprotected = sum(found[proof] for proof in UNPROTECTED)
    by_count = found["counter_only"]
    if not unprotected:
        if not by_count:
            return []
        headline = f"{counted(by_count, 'changeover')} with a risen count and no record"
        return [Attention(LOOK, headline, "For infection prevention to judge; each is listed.", INFECTION_CONTROL, "changeovers")]
    kinds = listed([f"{found[proof]} {PROOFS[proof]}" for proof in UNPROTECTED if found[proof]])
    beside = f" Besides, {counted(by_count, 'changeover')} with a risen count and no record." if by_count else ""
    evidence = f"{of_total(measure.now, 'share')}: {kinds}. {_against(measure)}{beside} Each is listed: a missing record is no proof that nothing was done."
    headline = f"{counted(unprotected, 'changeover')} without proof of a valid disinfection"
    return [Attention(DECIDE, headline, evidence, INFECTION_CONTROL, "changeovers")]


def _carried_over(source: Source) -> list[Attention]:
    number_of = carried_over(source)
    if not number_of:
        return []
    rows = source.up_to_now("fresh_part_monthly").filter(month=source.month).sort("part")
    kinds = [f"{count:,} of {starts:,} starts with a {part_words(part)}" for part, count, starts in rows.select("part", "carried_over", "starts").rows() if count]
    headline = f"{counted(number_of, 'stay')} began with a part that had served another patient"
    evidence = f"{listed(kinds)}. The site's rules ask for a new one; each case is listed."
    return [Attention(DECIDE, headline, evidence, WARD, "fresh")]


def _signal(measure: Measure) -> Attention:
    headline = f"{measure.subject}: {lower_first(measure.reading)}"
    run = [point for point in run_now(measure.points) if point.month not in measure.reference.months]
    since = Share(sum(point.count or 0 for point in run), sum(point.total or 0 for point in run))
    reference = measure.reference
    if measure.now.signal == "run_of_8" and since.total and reference.count is not None and reference.total:
        limits = newcombe_difference(since.count, since.total, reference.count, reference.total)
        low, high = (shown(limit, "points").removesuffix(" points") for limit in limits or (None, None))
        change = shown((since.value or 0) - (reference.value or 0), "points")
        evidence = (
            f"Since {month_name(run[0].month)}, {since.count:,} of {since.total:,} ({shown(since.value, 'share')}), against "
            f"{_reference(measure)}: {change} (95% interval {low} to {high}). {month_name(measure.now.month)} alone: {of_total(measure.now, 'share')}."
        )
    else:
        evidence = f"{month_name(measure.now.month)}: {of_total(measure.now, measure.unit)}. {_against(measure)}{_limits(measure)}"
    return Attention(measure.status, headline, evidence, _READERS.get(measure.section, WARD), measure.section)


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
    evidence = f"{shown(minutes / 60, 'hours')} of therapy after that, by estimate from flow and dew point. Only a look at the bag can tell."
    return [Attention(LOOK, headline, evidence, WARD, "water")]


def _low_humidity(source: Source) -> list[Attention]:
    now = source.now("powered_run_monthly")
    hours = number(now.get("low_humidity_h"))
    if not hours:
        return []
    evidence = "More than 2 °C below the set dew point after the unit had first reached it, as the units logged it."
    return [Attention(LOOK, f"{shown(hours, 'hours')} of therapy at low humidity", evidence, WARD, "warmth")]
