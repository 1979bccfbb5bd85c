"""Part cover again, ten minutes by ten minutes, in plain Python from the rules alone."""

from __future__ import annotations

from collections import Counter
from functools import cache
from typing import NamedTuple

from random_wards import AS_OF, STEP, Fitting, Ward, month
from recount_episodes import CHARTING_SLACK, CLOCK_SLACK, STAY_GAP, Effective, effective_episodes

PREPARATION, LIMIT = 24 * 60, 24 * 60
FOLLOWS_PATIENT = {"circuit": False, "interface": True}


class Span(NamedTuple):
    part: str
    fitted: int
    until: int
    served: list[Effective]


class Coverage(NamedTuple):
    """The months with part changes, and the first fitting of each part."""

    months: set[str]
    begins: dict[str, int]

    def holds(self, part: str, now: int) -> bool:
        """Whether a fitting of the part at that moment would be known."""
        return now >= self.begins.get(part, AS_OF) and month(now) in self.months


@cache
def month_starts() -> list[int]:
    """Return the first instant of each month after BEGIN, up to as_of."""
    return [minutes for minutes in range(STEP, AS_OF + 1, STEP) if month(minutes) != month(minutes - STEP)]


def coverage(ward: Ward) -> Coverage:
    """Return where part changes were recorded; the month of as_of counts after a month that counts."""
    months = {month(fitting.at) for fitting in ward.fittings}
    if month(month_starts()[-1] - STEP) in months:
        months.add(month(AS_OF))
    latest_first = sorted(ward.fittings, key=lambda fitting: -fitting.at)
    return Coverage(months, {fitting.part: fitting.at for fitting in latest_first})


def spans(ward: Ward) -> list[Span]:
    """Return the fittings that belong to a unit or a patient, with what they served and how long they stayed."""
    episodes = effective_episodes(ward)
    owned = [(owner, fitting) for fitting in ward.fittings if (owner := _owner(fitting, episodes))]
    return [
        _span(
            ward,
            fitting,
            owner,
            [other.at for key, other in owned if (key, other.part) == (owner, fitting.part)],
        )
        for owner, fitting in owned
    ]


def _owner(fitting: Fitting, episodes: list[Effective]) -> str | None:
    """Return the unit or the patient that the part stays with."""
    started = [
        row
        for row in episodes
        if row.start <= fitting.at + CHARTING_SLACK and (row.end is None or row.end > fitting.at)
    ]
    if not FOLLOWS_PATIENT[fitting.part]:
        own = [row for row in started if row.patient == fitting.patient]
        return fitting.unit or max(((row.start, row.unit) for row in own), default=(0, None))[1]
    if fitting.patient:
        return fitting.patient
    on_unit = [row for row in started if row.unit == fitting.unit]
    if on_unit:
        return max((row.start, row.patient) for row in on_unit)[1]
    coming = [
        (row.start, row.patient)
        for row in episodes
        if row.unit == fitting.unit and fitting.at < row.start <= fitting.at + PREPARATION
    ]
    return min(coming, default=(0, None))[1]


def _span(ward: Ward, fitting: Fitting, owner: str, sequence: list[int]) -> Span:
    removed = fitting.removed if fitting.removed is not None and fitting.removed <= AS_OF else None
    horizon = AS_OF
    if removed is None or removed <= fitting.at:
        months = coverage(ward).months
        horizon = next((at for at in month_starts() if at > fitting.at and month(at) not in months), AS_OF)
    evidence = [removed, *(at for at in sequence if at > fitting.at)]
    if not FOLLOWS_PATIENT[fitting.part]:
        cycles = (cycle.start for cycle in ward.cycles if cycle.unit == owner)
        evidence += [start for start in cycles if start > fitting.at + CLOCK_SLACK]
    hard = min((at for at in evidence if at is not None and at <= horizon), default=None)
    served = _served(fitting, horizon if hard is None else hard, owner, effective_episodes(ward))
    ends = [row.end for row in served]
    if served and all(end is not None and end <= horizon for end in ends):
        hard = min([max(end for end in ends if end is not None), *([] if hard is None else [hard])])
    return Span(fitting.part, fitting.at, horizon if hard is None else hard, served)


def _served(fitting: Fitting, until: int, owner: str, episodes: list[Effective]) -> list[Effective]:
    follows_patient = FOLLOWS_PATIENT[fitting.part]
    met = {
        row: min(until, row.until) - max(fitting.at, row.start)
        for row in sorted(episodes, key=lambda row: (row.start, row.patient))
        if (row.patient if follows_patient else row.unit) == owner and not row.overlapping
    }
    met = {row: overlap for row, overlap in met.items() if overlap > 0}
    totals: Counter[str] = Counter()
    for row, overlap in met.items():
        totals[row.patient] += overlap
    main = max(totals, key=lambda patient: totals[patient], default=None)  # the first of several
    served: list[Effective] = []
    for row, overlap in met.items():
        if row.patient != main and overlap <= CHARTING_SLACK and overlap < row.until - row.start:
            continue
        own = [earlier.until for earlier in served if earlier.patient == row.patient]
        if served and served[-1].patient == row.patient and row.start - max(own) > STAY_GAP:
            break
        served.append(row)
    return served


def cover_minutes(ward: Ward) -> Counter[tuple[str, str, str, str]]:
    """Return the minutes of cover by (ward, month, part, kind), looking at every ten minutes of every episode."""
    found, known = spans(ward), coverage(ward)
    minutes: Counter[tuple[str, str, str, str]] = Counter()
    for episode in effective_episodes(ward):
        for part in FOLLOWS_PATIENT:
            serving = [span for span in found if span.part == part and episode in span.served]
            for now in range(episode.start, episode.until, STEP):
                kind = _kind_with(serving, episode, now) or _kind_without(known, part, episode, now)
                minutes[
                    episode.ward, month(now), part, "not_assessable" if episode.overlapping else kind
                ] += STEP
    return minutes


def _kind_with(serving: list[Span], episode: Effective, now: int) -> str | None:
    """Return what the part in place at a moment amounts to; None without one."""
    in_place = [span for span in serving if _placed(span, episode) <= now < span.until]
    if not in_place:
        return None
    latest = max(in_place, key=lambda span: span.fitted)
    if now >= latest.fitted + LIMIT:
        return "over_limit"
    return "in_limit" if latest.served[0].patient == episode.patient else "carried_over"


def _placed(span: Span, episode: Effective) -> int:
    charted_late = span.fitted <= episode.start + CHARTING_SLACK
    return min(span.fitted, episode.start) if charted_late else span.fitted


def _kind_without(known: Coverage, part: str, episode: Effective, now: int) -> str:
    """Return what a moment without a part amounts to: silence means nothing where nobody could have written."""
    # March is the first month, into which nothing ran.
    ran_in = [start for start in month_starts() if episode.start < start <= now]
    seen_before = not ran_in or known.holds(part, ran_in[-1] - STEP)
    return "undocumented" if seen_before and known.holds(part, now) else "not_assessable"
