"""Effective episodes and stays again, in plain Python from the rules alone, to check the SQL against."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import NamedTuple

from random_wards import AS_OF, Cycle, Episode, Ward

CHARTING_SLACK, CLOCK_SLACK, STAY_GAP = 120, 10, 24 * 60


class Effective(NamedTuple):
    patient: str
    unit: str
    ward: str
    start: int
    end: int | None
    overlapping: bool

    @property
    def until(self) -> int:
        """The end, or as_of while the episode is open."""
        return AS_OF if self.end is None else self.end


class Stay(NamedTuple):
    patient: str
    unit: str
    ward: str
    start: int
    end: int | None
    overlapping: bool


def effective_episodes(ward: Ward) -> list[Effective]:
    """Return the ward's episodes with missing and late ends settled and overlaps trimmed or marked."""
    settled = [
        Effective(
            *row[:4],
            _end(row, ward.episodes, [cycle for cycle in ward.cycles if cycle.unit == row.unit]),
            False,
        )
        for row in ward.episodes
    ]
    trims: dict[Effective, int] = {}
    doubtful: set[Effective] = set()
    for one, other in combinations(sorted(settled, key=lambda row: row.start), 2):
        overlap = min(one.until, other.until) - max(one.start, other.start)
        if one.unit != other.unit or one.patient == other.patient or overlap <= 0:
            continue
        if one.start < other.start and one.until <= other.until and overlap <= CHARTING_SLACK:
            trims[one] = min(other.start, trims.get(one, other.start))
        else:
            doubtful |= {one, other}
    return [row._replace(end=trims.get(row, row.end), overlapping=row in doubtful) for row in settled]


def _end(row: Episode, episodes: Sequence[Episode], cycles: Sequence[Cycle]) -> int | None:
    if row.end is None or row.end > AS_OF:
        passed = [cycle.start for cycle in cycles if cycle.outcome == "passed" and cycle.start > row.start]
        starts = [other.start for other in episodes if other.unit == row.unit and other.start > row.start]
        return min(passed + starts, default=None)
    begun = [
        cycle.start
        for cycle in cycles
        if cycle.start > row.start and 0 <= row.end - cycle.start <= CHARTING_SLACK
    ]
    return min(begun, default=row.end)


def is_valid(cycle: Cycle) -> bool:
    """Whether a cycle is proof, where the site sets no limits of its own."""
    return cycle.outcome == "passed" and cycle.end is not None


def lies_between(cycle: Cycle, first: int, second: int) -> bool:
    """Whether an ended cycle lies between two instants, within the clocks' tolerance."""
    return cycle.end is not None and cycle.start >= first - CLOCK_SLACK and cycle.end <= second + CLOCK_SLACK


def stays(ward: Ward, unit: str) -> list[Stay]:
    """Return the stays on a unit in order."""
    valid = [cycle for cycle in ward.cycles if cycle.unit == unit and is_valid(cycle)]
    on_unit = sorted(
        (row for row in effective_episodes(ward) if row.unit == unit),
        key=lambda row: (row.start, row.patient),
    )
    groups: list[list[Effective]] = []
    for row in on_unit:
        if groups and groups[-1][-1].patient == row.patient:
            last = max(earlier.until for earlier in groups[-1])
            parted = any(lies_between(cycle, last, row.start) for cycle in valid)
            if row.start - last <= STAY_GAP and not parted:
                groups[-1].append(row)
                continue
        groups.append([row])
    return [_stay(group) for group in groups]


def _stay(group: list[Effective]) -> Stay:
    last = group[-1]
    end = None if last.end is None else max(row.until for row in group)
    return Stay(
        last.patient, last.unit, last.ward, group[0].start, end, any(row.overlapping for row in group)
    )
