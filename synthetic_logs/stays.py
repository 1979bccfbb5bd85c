"""Patients come, get a unit, sometimes move to another or return; units are disinfected between them."""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from synthetic_logs.cycles import Cycle, first_cycles, full_cycle, reprocess, whole_minute
from synthetic_logs.scenario import DAY, HOUR, MINUTE, Scenario, Site, Unit, Ward

#: A unit is taken no sooner than this after it came ready, so that set-up lies clear of the cycle.
SET_UP_S = 3 * HOUR


@dataclass(frozen=True)
class Leg:
    """One patient's time on one unit: what the record calls an episode. ``stay`` joins the legs of a move."""

    patient_ref: str
    unit_id: str
    ward: str
    started_at: int
    ended_at: int
    stay: int


@dataclass(frozen=True, order=True)
class _Arrival:
    at: int
    serial: int
    patient: int = field(compare=False)
    ward: int = field(compare=False)
    length_s: int = field(compare=False)
    stay: int = field(compare=False)
    moves: bool = field(compare=False, default=False)


@dataclass
class Course:
    """What happened at a site: legs in order of start, cycles, units out of the pool, references merged."""

    legs: list[Leg] = field(default_factory=list)
    cycles: list[Cycle] = field(default_factory=list)
    outages: list[tuple[str, int, int, str]] = field(default_factory=list)
    merges: list[tuple[str, str, int]] = field(default_factory=list)


def simulate(scenario: Scenario, site: Site, units: tuple[Unit, ...]) -> Course:
    """Return the site's course of events; the same for the same scenario."""
    course = Course()
    generator = scenario.stream("allocation", site.site_id)
    disinfecting = scenario.stream("disinfection", site.site_id)
    ready = first_cycles(scenario, units, disinfecting)
    course.cycles += ready.values()
    ready_at = {unit_id: cycle.ended_at for unit_id, cycle in ready.items()}
    clean_at = dict(ready_at)
    queue = list(_arrivals(scenario, site, units))
    heapq.heapify(queue)
    serial = len(queue)
    while queue:
        arrival = heapq.heappop(queue)
        unit = _free_unit(site, units, ready_at, arrival)
        if unit is None or arrival.at >= scenario.end:
            continue
        leg = _leg(site, unit, arrival)
        course.legs.append(leg)
        if (
            site.max_storage_days
            and leg.started_at - clean_at[unit.unit_id] > (site.max_storage_days - 0.5) * DAY
        ):
            course.cycles.append(
                full_cycle(unit.unit_id, leg.started_at - 2.8 * HOUR, disinfecting, refresh=True)
            )
        between = reprocess(scenario, unit.unit_id, unit.ward, leg.ended_at, disinfecting)
        course.cycles += between
        clean_at[unit.unit_id] = ready_at[unit.unit_id] = between[-1].ended_at
        outage = _outage(unit.unit_id, between[-1].ended_at, generator)
        if outage:
            course.outages.append(outage)
            ready_at[unit.unit_id] = outage[2]
        following = _following(site, arrival, leg, serial, generator)
        serial += 1
        if following:
            heapq.heappush(queue, following)
    return _with_merges(scenario, site, course)


def _arrivals(scenario: Scenario, site: Site, units: tuple[Unit, ...]) -> Iterator[_Arrival]:
    """Yield first arrivals: a Poisson number a day, most in winter; stays are log-normal with a long tail."""
    number = 0
    days = (scenario.end - scenario.start) // DAY + 1
    for index, ward in enumerate(site.wards):
        generator = scenario.stream("arrivals", site.site_id, ward.name)
        beds = sum(unit.ward is ward for unit in units)
        day_start = scenario.start + np.arange(days) * DAY
        wanted = beds * 0.55 * _season(day_start) / (1.57 * ward.stay_days + 0.5)
        arrivals = np.repeat(day_start, generator.poisson(wanted))
        at = np.sort(arrivals + (generator.triangular(0, 15, 24, len(arrivals)) * HOUR).astype(np.int64))
        length_days = np.clip(ward.stay_days * np.exp(0.95 * generator.standard_normal(len(at))), 0.35, 45)
        moves = (generator.random(len(at)) < 0.07) & (length_days > 1.5)
        for start, length, mover in zip(at, length_days, moves, strict=True):
            number += 1
            length_s = whole_minute(length * DAY)
            yield _Arrival(whole_minute(start), number, number, index, length_s, number, bool(mover))


def _season(instants: np.ndarray) -> np.ndarray:
    """Return the demand at each instant relative to the year's mean, highest in late January."""
    day_of_year = (instants / DAY) % 365.2425
    return np.asarray(1 + 0.4 * np.cos(2 * np.pi * (day_of_year - 22) / 365.2425))


def _free_unit(
    site: Site, units: tuple[Unit, ...], ready_at: dict[str, int], arrival: _Arrival
) -> Unit | None:
    """Return the ward's unit that has stood ready longest, None when there is none."""
    ward: Ward = site.wards[arrival.ward]
    leaves_by = arrival.at + arrival.length_s + 2 * DAY
    free = [
        unit
        for unit in units
        if unit.ward is ward
        and ready_at[unit.unit_id] + SET_UP_S <= arrival.at
        and leaves_by < unit.available_to
    ]
    return min(free, key=lambda unit: (ready_at[unit.unit_id], unit.unit_id), default=None)


def _leg(site: Site, unit: Unit, arrival: _Arrival) -> Leg:
    share = 0.3 + 0.4 * (arrival.serial % 11) / 11 if arrival.moves else 1.0
    ended_at = arrival.at + max(whole_minute(arrival.length_s * share), 8 * HOUR)
    patient_ref = f"T-{site.letter}-{arrival.patient:06d}"
    return Leg(patient_ref, unit.unit_id, unit.ward.name, arrival.at, ended_at, arrival.stay)


def _following(
    site: Site, arrival: _Arrival, leg: Leg, serial: int, generator: np.random.Generator
) -> _Arrival | None:
    """Return the same patient's next arrival: on another ward at once, or home first and back days later."""
    gap, days, returns = int(generator.integers(20, 45)), generator.uniform(3, 25), generator.random() < 0.04
    length_days = float(np.clip(2.5 * np.exp(0.8 * generator.standard_normal()), 0.35, 30))
    if arrival.moves:
        rest_s = max(arrival.length_s - (leg.ended_at - leg.started_at), 8 * HOUR)
        ward = (arrival.ward + 1) % len(site.wards)
        at = leg.ended_at + gap * MINUTE
        return replace(arrival, at=at, serial=serial + 1, ward=ward, length_s=rest_s, moves=False)
    if returns:
        at, length_s = whole_minute(leg.ended_at + days * DAY), whole_minute(length_days * DAY)
        return replace(arrival, at=at, serial=serial + 1, length_s=length_s, stay=serial + 1)
    return None


def _outage(unit_id: str, clean_at: int, generator: np.random.Generator) -> tuple[str, int, int, str] | None:
    """Return the time that the unit is away for repair, on loan or held back after its cycle, if it is."""
    happens, days = generator.random() < 0.012, generator.uniform(2, 16)
    status = str(generator.choice(["repair", "loan", "held"]))
    started_at = clean_at + HOUR
    return (unit_id, started_at, whole_minute(started_at + days * DAY), status) if happens else None


def _with_merges(scenario: Scenario, site: Site, course: Course) -> Course:
    """Give some patients who returned a second reference, merged with the first a few days later."""
    generator = scenario.stream("merges", site.site_id)
    course.legs.sort(key=lambda leg: (leg.started_at, leg.unit_id))
    first_stay: dict[str, int] = {}
    renamed: dict[int, str] = {}
    for leg in course.legs:
        first_stay.setdefault(leg.patient_ref, leg.stay)
        returned = leg.stay != first_stay[leg.patient_ref] and leg.patient_ref not in renamed.values()
        if returned and leg.stay not in renamed and generator.random() < 0.3:
            merged_at = whole_minute(leg.started_at + generator.uniform(1, 5) * DAY)
            number = 900000 + len(renamed)
            renamed[leg.stay] = f"T-{site.letter}-{number:06d}"
            course.merges.append((renamed[leg.stay], leg.patient_ref, merged_at))
    course.legs = [replace(leg, patient_ref=renamed.get(leg.stay, leg.patient_ref)) for leg in course.legs]
    return course
