"""Where slips can be planted: each leg with its neighbours on the unit and the cycles that follow it."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass, field

from synthetic_logs.cycles import Cycle
from synthetic_logs.scenario import DAY, Scenario, Site, Unit
from synthetic_logs.stays import Course, Leg


@dataclass(frozen=True)
class Visit:
    """One leg and what lies round it on its unit; ``cycles`` are those between it and ``after``."""

    number: int
    position: int
    leg: Leg
    before: Leg | None
    after: Leg | None
    after_number: int
    cycles: tuple[Cycle, ...]
    next_but_one: Leg | None


@dataclass(frozen=True)
class Scene:
    """A site's simulated course, to choose from; ``person`` joins merged references, ``legs_of`` counts."""

    scenario: Scenario
    site: Site
    units: tuple[Unit, ...]
    visits: tuple[Visit, ...]
    person: dict[str, str]
    legs_of: Counter[str]
    number_of: dict[str, int] = field(default_factory=dict)

    def only_leg(self, leg: Leg | None) -> bool:
        """Say whether the leg is all that its patient ever had here."""
        return leg is not None and self.legs_of[self.person.get(leg.patient_ref, leg.patient_ref)] == 1

    def same_person(self, one: Leg, other: Leg) -> bool:
        """Say whether both legs are one patient's, merged references included."""
        first, second = one.patient_ref, other.patient_ref
        return self.person.get(first, first) == self.person.get(second, second)

    def logs_samples(self, unit_id: str) -> bool:
        """Say whether the unit exports samples."""
        return self.units[self.number_of[unit_id]].logs_samples


def scene_of(scenario: Scenario, site: Site, units: tuple[Unit, ...], course: Course) -> Scene:
    """Return the site's visits by unit and time."""
    person = {old: new for old, new, _ in course.merges}
    legs_of = Counter(person.get(leg.patient_ref, leg.patient_ref) for leg in course.legs)
    visits: list[Visit] = []
    for unit in units:
        numbers = [number for number, leg in enumerate(course.legs) if leg.unit_id == unit.unit_id]
        cycles = sorted((c for c in course.cycles if c.unit_id == unit.unit_id), key=lambda c: c.started_at)
        visits += _unit_visits(course.legs, numbers, cycles)
    number_of = {unit.unit_id: number for number, unit in enumerate(units)}
    return Scene(scenario, site, units, tuple(visits), person, legs_of, number_of)


def _unit_visits(legs: list[Leg], numbers: list[int], cycles: list[Cycle]) -> list[Visit]:
    starts = [cycle.started_at for cycle in cycles]
    visits = []
    for position, number in enumerate(numbers):
        following = numbers[position + 1 : position + 3]
        after = legs[following[0]] if following else None
        first = bisect_left(starts, legs[number].ended_at)
        last = bisect_left(starts, after.started_at) if after else len(cycles)
        visits.append(
            Visit(
                number,
                position,
                legs[number],
                legs[numbers[position - 1]] if position else None,
                after,
                following[0] if following else -1,
                tuple(cycles[first:last]),
                legs[following[1]] if len(following) > 1 else None,
            )
        )
    return visits


def plain(scene: Scene, visit: Visit) -> bool:
    """Say whether a slip can be planted here and nothing else can explain what follows from it.

    Neighbours exist, the patients have no other leg, one cycle that passed lies between, and neither the
    ends of the simulated time nor the undelivered month are near.
    """
    return undisturbed(scene, visit) and len(visit.cycles) == 1 and not visit.cycles[0].refresh


def undisturbed(scene: Scene, visit: Visit) -> bool:
    """Say the same as `plain`, whatever the cycles."""
    before, after, scenario = visit.before, visit.after, scene.scenario
    if before is None or after is None or visit.next_but_one is None or not visit.cycles:
        return False
    alone = all(scene.only_leg(leg) for leg in (before, visit.leg, after, visit.next_but_one))
    inside = visit.leg.started_at > scenario.start + 12 * DAY and after.ended_at < scenario.end - 3 * DAY
    return alone and inside and not _near_undelivered(scene, visit.leg.started_at, after.ended_at)


def _near_undelivered(scene: Scene, start: int, end: int) -> bool:
    month = scene.scenario.undelivered_month(scene.site)
    if month is None:
        return False
    low, high = scene.scenario.edges[month] - 20 * DAY, scene.scenario.edges[month + 1] + 20 * DAY
    return start < high and end > low
