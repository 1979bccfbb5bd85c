"""What needs attention first: a claim stands here only where its rule fires."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.findings.changeovers import cases
from pipeline.findings.counts import count_cases, disagreements
from pipeline.findings.evidence import against, claim, of_signal
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
    Measure,
    Share,
)
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
    listed,
    lower_first,
    of_share,
    of_total,
    part_words,
    sentence,
    shown,
)

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
        *_nothing(source, measures),
        *_uncovered(source),
        *_quiet(source),
        *_changeovers(source, by_key["unprotected_changeovers"]),
        *_carried_over(source),
        *(_signal(measure) for measure in measures if _asks(measure)),
        *_counts(source, by_key["count_agreement"]),
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


def _nothing(source: Source, measures: Sequence[Measure]) -> list[Attention]:
    """Say that a month is empty: without this, a page on which nothing stands would look like a good one."""
    if any(measure.now.value is not None for measure in measures):
        return []
    headline = f"Nothing can be measured in {source.month_words}"
    evidence = "The records hold nothing of this month that a measure could be made of. It is no good news."
    return [Attention(UNKNOWN, headline, evidence, QUALITY_LEAD, "quality")]


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
        headline = (
            f"{counted(by_count, 'changeover')} in {source.month_words} with a risen count and no record"
        )
        return [
            Attention(
                LOOK,
                headline,
                f"{_judgeable(measure)}For infection prevention to judge; each is listed.",
                INFECTION_CONTROL,
                "changeovers",
            )
        ]
    kinds = listed([f"{PROOFS[proof]} ({found[proof]})" for proof in UNPROTECTED if found[proof]])
    beside = (
        f"Besides, {counted(by_count, 'changeover')} with a risen count and no record. " if by_count else ""
    )
    chart = f"Its chart: {lower_first(measure.reading)}. " if measure.now.signal else ""
    told = f"{of_total(measure.now, 'share')}: {kinds}. {against(measure)} {chart}{beside}"
    evidence = f"{told}Each is listed: a missing record is no proof that nothing was done."
    headline = (
        f"{counted(unprotected, 'changeover')} in {source.month_words} without proof of a valid disinfection"
    )
    return [Attention(DECIDE, headline, evidence, INFECTION_CONTROL, "changeovers")]


def _judgeable(measure: Measure) -> str:
    return (
        "" if measure.now.total is None else f"Of {counted(whole(measure.now.total), 'changeover')} in all. "
    )


def _carried_over(source: Source) -> list[Attention]:
    rows = carried_over(source).rows()
    if not rows:
        return []
    kinds = listed(
        [f"{part_words(part)} {of_share(Share(count, starts), 'starts')}" for part, count, starts in rows]
    )
    parts = counted(sum(count for _, count, _ in rows), "part")
    headline = f"{parts} in place at the start of a stay in {source.month_words} had served another patient"
    evidence = f"By kind: {kinds}. The site's rules ask for a new one; each case is listed. It tells of no infection."
    return [Attention(DECIDE, headline, evidence, WARD, "fresh")]


def _signal(measure: Measure) -> Attention:
    reader = _READERS.get(measure.section, WARD)
    return Attention(measure.status, claim(measure), of_signal(measure), reader, measure.section)


def _counts(source: Source, measure: Measure) -> list[Attention]:
    told = disagreements(source)
    misread = whole(source.now("count_check_monthly").get("likely_misread"))
    if not told and not misread:
        return []
    pairs = counted(len(count_cases(source).rows), "pair")
    evidence = [f"{of_total(measure.now, 'share')} agree. {against(measure)}"]
    evidence += [f"{sentence(told)}."] if told else []
    evidence += [f"{counted(misread, 'pair')} likely rest on one misread number."] if misread else []
    evidence.append("A count says that a cycle ran, not that it was valid.")
    headline = f"{pairs} of counts in {source.month_words} do not agree with the records"
    return [Attention(LOOK, headline, " ".join(evidence), INFECTION_CONTROL, "counts")]


def _dry_bags(source: Source) -> list[Attention]:
    bags = dry_bags(source)
    if not bags.rows:
        return []
    minutes = sum(number(row[-1]) or 0 for row in bags.rows)
    hung = whole(source.now("water_monthly").get("bags_hung"))
    number_of = counted(len(bags.rows), "water bag")
    headline = f"The model has {number_of} empty in {source.month_words} while therapy went on"
    share = f"{of_share(Share(len(bags.rows), hung), 'bags hung')}. " if hung >= len(bags.rows) else ""
    after = f"{shown(minutes / 60, 'hours')} of therapy after that, by estimate from flow and dew point."
    evidence = f"{share}{after} Only a look at the bag can tell."
    return [Attention(LOOK, headline, evidence, WARD, "water")]


def _low_humidity(source: Source) -> list[Attention]:
    hours = number(source.now("powered_run_monthly").get("low_humidity_h"))
    days = number(source.now("water_monthly").get("therapy_days"))
    if not hours:
        return []
    beside = f" Therapy in all: {shown(days * 24, 'hours')}." if days else ""
    evidence = (
        f"More than 2 °C below the set dew point after the unit had first reached it, as the units logged it.{beside} "
        "Units that log no set dew point are not in it."
    )
    headline = f"{shown(hours, 'hours')} of therapy at low humidity in {source.month_words}"
    return [Attention(LOOK, headline, evidence, WARD, "warmth")]
