"""The stretches of a chart that are judged alike: a frozen baseline, set anew at each declared change."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.site_events import SiteEvent
from pipeline.site_rules import SiteRules

#: Months of a baseline where the rules name none.
FULL_BASELINE = 12

#: Fewer months than these set no limits: too little is known of how months differ by chance.
LEAST_MONTHS = 6


@dataclass(frozen=True)
class Phase:
    """Months ``start`` to ``stop`` (excluded), judged by those at ``baseline``; None where they set no limits.

    ``provisional`` until the baseline has all its months; ``change`` is the declared change that it begins with.
    """

    start: int
    stop: int
    baseline: slice | None
    provisional: bool
    change: SiteEvent | None = None


def phases(
    months: Sequence[str],
    assessable: Sequence[bool],
    changes: Sequence[SiteEvent],
    rules: SiteRules,
    suffices: Callable[[slice], bool],
) -> tuple[Phase, ...]:
    """Return the phases of a chart in order; one that cannot set limits of its own goes on with those before it.

    ``suffices`` says whether the months of a slice hold enough for limits. A month in which a change falls
    belongs to the time before it, unless the change came on its first day.
    """
    cuts = {_first_month_after(change.on): change for change in changes}
    starts = {0: None} | {
        position: change for position, month in enumerate(months) if (change := cuts.get(month))
    }
    edges = [*starts, len(months)]
    found: list[Phase] = []
    for (start, change), stop in zip(starts.items(), edges[1:], strict=True):
        baseline, provisional = _baseline(months, assessable, start, stop, rules)
        enough = sum(assessable[baseline]) >= LEAST_MONTHS and suffices(baseline)
        if found and not enough:
            before = found.pop()
            found.append(Phase(before.start, stop, before.baseline, before.provisional, before.change))
        else:
            found.append(Phase(start, stop, baseline if enough else None, provisional, change))
    return tuple(found)


def changes_of(rules: SiteRules, measure: str, ward: str) -> tuple[SiteEvent, ...]:
    """Return the declared changes that a measure of a ward is re-based at; '*' takes those of the whole site."""
    return tuple(
        event
        for event in rules.events
        if event.kind == "change"
        and (not event.measures or measure in event.measures)
        and (event.ward is None or event.ward.casefold() == ward.casefold())
    )


def _first_month_after(on: date) -> str:
    """Return the first whole month from a day on."""
    if on.day == 1:
        return f"{on:%Y-%m}"
    return f"{on.year + on.month // 12:04d}-{on.month % 12 + 1:02d}"


def _baseline(
    months: Sequence[str], assessable: Sequence[bool], start: int, stop: int, rules: SiteRules
) -> tuple[slice, bool]:
    """Return the months that the rules name, where they lie in the phase, else its first twelve assessable."""
    first, last = rules.baseline_from or months[start], rules.baseline_to
    inside = [
        position
        for position in range(start, stop)
        if assessable[position] and first <= months[position] <= (last or months[position])
    ]
    if last and inside:
        return slice(inside[0], inside[-1] + 1), months[-1] < last
    inside = inside or [position for position in range(start, stop) if assessable[position]]
    inside = inside[:FULL_BASELINE]
    if not inside:
        return slice(start, start), True
    return slice(inside[0], inside[-1] + 1), len(inside) < FULL_BASELINE
