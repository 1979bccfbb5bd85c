"""The sentences of evidence: k of n, the baseline, the difference with its interval, and what that does not show."""

from __future__ import annotations

from pipeline.findings.charted import run_now
from pipeline.findings.model import Difference, Measure, Share
from pipeline.findings.months import month_name, months_in_words
from pipeline.findings.wording import difference_in_words, lower_first, of_share, of_total, shown
from pipeline.measures.intervals import newcombe_difference
from pipeline.measures.run_rules import RUN_OF_8

#: What a signal of a chart does not show.
_MEANS = "Why, the figures do not say."


def claim(measure: Measure) -> str:
    """Return a signal as a headline: what, how it lies, and since when or in which month."""
    told = f"{measure.subject}: {lower_first(measure.reading)}"
    month = month_name(measure.now.month)
    run = run_now(measure.points)
    if measure.now.signal == RUN_OF_8 and run:
        return f"{told}, since {month_name(run[0].month)}"
    return f"{told} in {month}"


def of_signal(measure: Measure) -> str:
    """Return the evidence of a signal: a run's months pooled, or the month with its limits."""
    month, now = month_name(measure.now.month), measure.now
    told = of_total(now, measure.unit, measure.counted)
    if now.signal == RUN_OF_8 and (run := _of_run(measure)):
        return f"{run} {month} alone: {told}. {_MEANS}"
    limits = ""
    if now.lower is not None and now.upper is not None:
        limits = (
            f" Limits for this month: {shown(now.lower, measure.unit)} to {shown(now.upper, measure.unit)}."
        )
    return f"{month}: {told}. {against(measure)}{limits} {_MEANS}"


def against(measure: Measure) -> str:
    """Return the month beside its baseline, and whether chance alone could explain how they differ."""
    if measure.reference.value is None:
        return "There is no baseline to compare with."
    if measure.difference is None:
        return "This month belongs to the baseline itself."
    apart = difference_in_words(measure.difference, measure.unit)
    return f"Against {_reference(measure)}: {apart}{_by_chance(measure.difference)}."


def _of_run(measure: Measure) -> str:
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
    apart = f"{difference_in_words(difference, 'share')}{_by_chance(difference)}"
    begun = f"Outside the baseline, since {month_name(run[0].month)}"
    return f"{begun}: {of_share(since)}, against {_reference(measure)}: {apart}."


def _by_chance(difference: Difference) -> str:
    if difference.low is None or difference.high is None or not difference.low <= 0 <= difference.high:
        return ""
    return ", which chance alone could explain"


def _reference(measure: Measure) -> str:
    """Return the baseline's value, months and state in words."""
    reference = measure.reference
    told = f"{shown(reference.value, measure.unit)} in the baseline, {months_in_words(reference.months)}"
    return f"{told}, still provisional" if reference.provisional else told
