"""Changeovers, turnarounds and chains again, in plain Python from the rules alone."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from random_wards import AS_OF, STEP, Cycle, Ward, month
from recount_cover import month_starts
from recount_episodes import CHARTING_SLACK, CLOCK_SLACK, Stay, is_valid, lies_between, stays

UNITS = ("u1", "u2")


class Changeover(NamedTuple):
    unit: str
    before: Stay
    after: Stay
    proof: str


def changeovers(ward: Ward) -> list[Changeover]:
    """Return each pair of adjacent stays of different patients with what is known in between."""
    return [
        Changeover(unit, before, after, _proof(ward, before, after))
        for unit in UNITS
        for before, after in pairwise(stays(ward, unit))
        if before.patient != after.patient
    ]


def _proof(ward: Ward, before: Stay, after: Stay) -> str:
    if before.overlapping or after.overlapping:
        return "overlap"
    assert before.end is not None  # a later start has ended it
    if _is_disinfected(ward, before, after):
        return "disinfected"
    first, last = before.end - CLOCK_SLACK, after.start + CLOCK_SLACK
    if any(first <= cycle.start <= last for cycle in _cycles(ward, before.unit)):
        return "invalid_cycle"
    if not _is_covered(ward, before.end, after.start):
        return "not_assessable"
    return "undecided" if after.start + CHARTING_SLACK > AS_OF else "no_record"


def _cycles(ward: Ward, unit: str) -> list[Cycle]:
    return sorted(cycle for cycle in ward.cycles if cycle.unit == unit)


def _is_disinfected(ward: Ward, before: Stay, after: Stay) -> bool:
    between = (
        cycle for cycle in _cycles(ward, before.unit) if lies_between(cycle, before.end or 0, after.start)
    )
    return any(is_valid(cycle) for cycle in between)


def _is_covered(ward: Ward, first: int, end: int) -> bool:
    """Whether every moment of [first, end) is one at which a cycle would have been recorded."""
    months = {month(cycle.start) for cycle in ward.cycles}
    if month(month_starts()[-1] - STEP) in months:
        months.add(month(AS_OF))
    begun = any(cycle.start <= first for cycle in ward.cycles)
    return begun and all(month(now) in months for now in range(first, max(end, first + STEP), STEP))


def turnarounds(ward: Ward) -> list[tuple[Stay, str, int | None]]:
    """Return each ended stay that is not overlapping with its status and turnaround in minutes."""
    return [
        (stay, *_turnaround(ward, stay, after))
        for unit in UNITS
        for stay, after in pairwise([*stays(ward, unit), None])
        if stay is not None and stay.end is not None and not stay.overlapping
    ]


def _turnaround(ward: Ward, stay: Stay, after: Stay | None) -> tuple[str, int | None]:
    assert stay.end is not None
    valid = [
        cycle
        for cycle in _cycles(ward, stay.unit)
        if is_valid(cycle) and cycle.start >= stay.end - CLOCK_SLACK
    ]
    if valid and valid[0].end is not None and (after is None or valid[0].end <= after.start + CLOCK_SLACK):
        return "reprocessed", max(0, valid[0].end - stay.end)
    until = AS_OF if after is None else after.start
    if not _is_covered(ward, stay.end, until):
        return "not_assessable", None
    return "waiting" if after is None else "bypassed", until - stay.end


def chains(ward: Ward) -> list[tuple[str, int, int, str]]:
    """Return (unit, chain, position, patient) of each run of linked stays that holds two patients."""
    return [
        (unit, chain_no, position, stay.patient)
        for unit in UNITS
        for chain_no, run in enumerate(_runs(ward, unit), 1)
        for position, stay in enumerate(run, 1)
    ]


def _runs(ward: Ward, unit: str) -> list[list[Stay]]:
    runs: list[list[Stay]] = []
    for stay in stays(ward, unit):
        if runs and _is_linked(ward, runs[-1][-1], stay):
            runs[-1].append(stay)
        else:
            runs.append([stay])
    return [run for run in runs if len({stay.patient for stay in run}) > 1]


def _is_linked(ward: Ward, before: Stay, after: Stay) -> bool:
    if before.patient != after.patient:
        return _proof(ward, before, after) in ("invalid_cycle", "no_record")
    return not (before.overlapping or after.overlapping or _is_disinfected(ward, before, after))
