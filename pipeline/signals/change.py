"""Before and after a declared change: a rate ratio with exact limits, or plainly that the data are too thin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.measures.control_charts import share_dispersion
from pipeline.measures.intervals import Limits, rate_ratio_limits
from pipeline.signals.phases import FULL_BASELINE, changes_of
from pipeline.signals.rates import EventRate
from pipeline.signals.series import SHARES, Series
from pipeline.site_events import SiteEvent
from pipeline.site_rules import SiteRules

#: Fewer whole months than these on either side, or fewer events in all, tell nothing.
LEAST_MONTHS, LEAST_EVENTS = 3, 5


@dataclass(frozen=True)
class Comparison:
    """Whole months before and after a change: events that went amiss, of so many cases, and their ratio.

    ``ratio`` and ``limits`` (exact, 95 %) are None where the data are too thin; ``sentence`` says what is seen.
    """

    site_id: str
    ward: str
    measure: str
    change: SiteEvent
    months_before: tuple[str, ...]
    months_after: tuple[str, ...]
    before: EventRate
    after: EventRate
    ratio: float | None
    limits: Limits | None
    too_thin: bool
    sentence: str


def comparisons(wanted: Sequence[Series], rules: SiteRules, until: str) -> tuple[Comparison, ...]:
    """Return the comparison of every declared change with each measure and ward that it is about.

    Up to twelve whole months on each side, none beyond another change of the same measure, none after
    ``until``. Hours and water are left out: they are no counts of events, so no exact limits hold.
    """
    found = []
    for series in wanted:
        changes = changes_of(rules, series.base, series.ward) if series.kind == SHARES else ()
        for number, change in enumerate(changes):
            since = changes[number - 1].on.isoformat()[:7] if number else ""
            up_to = changes[number + 1].on.isoformat()[:7] if number + 1 < len(changes) else "9999-99"
            found.append(_comparison(series, change, since, up_to, until))
    return tuple(found)


def _comparison(series: Series, change: SiteEvent, since: str, up_to: str, until: str) -> Comparison:
    month = change.on.isoformat()[:7]
    assessable = [
        item for item, total in zip(series.months, series.totals, strict=True) if total and item <= until
    ]
    first_day = change.on.day == 1
    before = tuple(item for item in assessable if since < item < month)[-FULL_BASELINE:]
    after = tuple(
        item for item in assessable if (item >= month if first_day else item > month) and item < up_to
    )
    after = after[:FULL_BASELINE]
    earlier, later = _rate(series, before), _rate(series, after)
    thin = _thinness(before, after, earlier, later)
    limits = (
        None if thin else rate_ratio_limits(later.events, later.exposure, earlier.events, earlier.exposure)
    )
    ratio = later.value / earlier.value if limits and earlier.value and later.value is not None else None
    sentence = thin or _sentence(series, change, before, ratio, limits)
    return Comparison(
        series.site_id, series.ward, series.measure, change, before, after, earlier, later, ratio, limits,
        bool(thin), sentence,
    )  # fmt: skip


def _rate(series: Series, months: Sequence[str]) -> EventRate:
    """Return the cases that went amiss of all cases in these months."""
    places = [place for place, month in enumerate(series.months) if month in months]
    count, total = (
        sum(series.counts[place] for place in places),
        sum(series.totals[place] for place in places),
    )
    return EventRate(round(total - count if series.better == "higher" else count), total)


def _thinness(before: Sequence[str], after: Sequence[str], earlier: EventRate, later: EventRate) -> str:
    for months, when in ((before, "before"), (after, "since")):
        if len(months) < LEAST_MONTHS:
            return f"Too thin to compare: {len(months)} whole months {when} the change, and {LEAST_MONTHS} are needed."
    events = earlier.events + later.events
    if events < LEAST_EVENTS:
        return f"Too thin to compare: {events} events in all, and fewer than {LEAST_EVENTS} tell nothing."
    return ""


def _sentence(
    series: Series, change: SiteEvent, before: Sequence[str], ratio: float | None, limits: Limits | None
) -> str:
    assert limits is not None
    low, high = limits
    shown = f"{low:.2f} to {high:.2f}" if high != float("inf") else f"{low:.2f} and up"
    told = f"Since {change.what}, {change.on:%Y-%m-%d}: "
    if ratio is None:
        told += f"none went amiss before, so no ratio can be given (95% limits {shown})"
    else:
        told += f"{ratio:.2f} times the rate before (95% limits {shown})"
    if low > 1 or high < 1:
        told += "; more than chance explains, which does not show that the change is the reason"
    else:
        told += "; chance alone may explain it"
    places = slice(series.months.index(before[0]), series.months.index(before[-1]) + 1)
    dispersion = share_dispersion(series.counts[places], series.totals[places])
    if dispersion and dispersion.is_shown:
        told += "; the months before vary by more than chance, so these limits are too narrow"
    return told + "."
