"""Which slips are planted, how often and where; no two touch the same stays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl

from synthetic_logs import part_slips, slips
from synthetic_logs.scenario import DAY, HOUR, PART_LIMIT_S, iso
from synthetic_logs.slip_records import Planted, Slip, Tables, changeover
from synthetic_logs.stays import Leg
from synthetic_logs.visits import Scene, Visit, plain, undisturbed

Fits = Callable[[Tables, Visit, Scene], bool]
Plant = Callable[[Tables, Visit, Scene, np.random.Generator], Planted]


@dataclass(frozen=True)
class Kind:
    """One kind of slip: the function that plants it, how many in a thousand unit-months, where it fits."""

    plant: Plant
    per_thousand_unit_months: float
    fits: Fits


def _gap_h(visit: Visit) -> float:
    assert visit.after is not None
    return (visit.after.started_at - visit.cycles[-1].ended_at) / HOUR


def _longer_than(leg: Leg | None, hours: int) -> bool:
    return leg is not None and leg.ended_at - leg.started_at > hours * HOUR


def anywhere(tables: Tables, visit: Visit, scene: Scene) -> bool:
    """Fits at every plain visit."""
    return plain(scene, visit)


def _fits_carried_over(tables: Tables, visit: Visit, scene: Scene) -> bool:
    if not plain(scene, visit) or visit.after is None:
        return False
    fitted = part_slips.fitted(tables, visit.number, "circuit")
    short = visit.after.ended_at - fitted[0] < PART_LIMIT_S - 4 * HOUR
    return len(fitted) == 1 and short and len(part_slips.fitted(tables, visit.after_number, "circuit")) == 1


def _fits_expired(tables: Tables, visit: Visit, scene: Scene) -> bool:
    if not undisturbed(scene, visit) or len(visit.cycles) != 2 or visit.after is None:
        return False
    first, last = visit.cycles
    limit_s = (scene.site.max_storage_days or 0) * DAY
    return last.refresh and visit.after.started_at - first.ended_at > limit_s + HOUR


def _fits_uncharted(tables: Tables, visit: Visit, scene: Scene) -> bool:
    return plain(scene, visit) and scene.logs_samples(visit.leg.unit_id) and _gap_h(visit) > 12


def _fits_late_end(tables: Tables, visit: Visit, scene: Scene) -> bool:
    """Parts of the stay are still within their limits when the cycle starts."""
    if not plain(scene, visit):
        return False
    in_place = [
        visit.cycles[-1].started_at - part_slips.fitted(tables, visit.number, part)[-1]
        for part in ("circuit", "interface")
    ]
    return max(in_place) < PART_LIMIT_S - HOUR


def _fits_overlap(tables: Tables, visit: Visit, scene: Scene) -> bool:
    return plain(scene, visit) and _longer_than(visit.after, 12)


def _fits_weekly_change(tables: Tables, visit: Visit, scene: Scene) -> bool:
    return undisturbed(scene, visit) and part_slips.first_weekly_change(tables, visit) is not None


def _fits_rollback(tables: Tables, visit: Visit, scene: Scene) -> bool:
    return plain(scene, visit) and _longer_than(visit.leg, 24)


def _fits_misread(tables: Tables, visit: Visit, scene: Scene) -> bool:
    return plain(scene, visit) and slips.reading_within(tables, visit.leg) is not None


def _fits_cold(tables: Tables, visit: Visit, scene: Scene) -> bool:
    return plain(scene, visit) and scene.logs_samples(visit.leg.unit_id)


def _fits_dry(tables: Tables, visit: Visit, scene: Scene) -> bool:
    return _fits_cold(tables, visit, scene) and part_slips.first_dry_bag(tables, visit) is not None


#: The kinds that are hardest to place come first.
KINDS = (
    Kind(slips.expired_storage, 6, _fits_expired),
    Kind(part_slips.carried_over_circuit, 6, _fits_carried_over),
    Kind(part_slips.missed_change, 12, _fits_weekly_change),
    Kind(part_slips.uncharted_use, 7, _fits_uncharted),
    Kind(part_slips.dry_bag, 12, _fits_dry),
    Kind(slips.count_misread, 8, _fits_misread),
    Kind(slips.count_rollback, 3, _fits_rollback),
    Kind(slips.overlapping_episodes, 5, _fits_overlap),
    Kind(slips.missed_disinfection, 14, anywhere),
    Kind(slips.failed_cycle_then_used, 9, anywhere),
    Kind(slips.unrecorded_disinfection, 9, anywhere),
    Kind(part_slips.missed_fitting, 14, anywhere),
    Kind(slips.late_end, 22, _fits_late_end),
    Kind(slips.missing_end, 14, _fits_late_end),
    Kind(part_slips.cold_start, 14, _fits_cold),
    Kind(part_slips.clock_drift, 4, _fits_cold),
)


def plant_all(tables: Tables, scene: Scene) -> Planted:
    """Plant every kind at visits of its own, then late changes at each ward's own rate."""
    taken: set[tuple[str, int]] = set()
    planted: list[Slip] = []
    for kind in KINDS:
        name = kind.plant.__name__
        generator = scene.scenario.stream("slip", scene.site.site_id, name)
        unit_months = len(scene.units) * scene.scenario.months
        wanted = max(round(kind.per_thousand_unit_months * unit_months / 1000), 1)
        for index in generator.permutation(len(scene.visits)):
            visit = scene.visits[index]
            if wanted and not _touched(visit) & taken and kind.fits(tables, visit, scene):
                tables, found = kind.plant(tables, visit, scene, generator)
                planted += found
                taken |= _touched(visit)
                wanted -= 1
    tables, late = _late_changes(tables, scene, taken)
    tables, undelivered = undelivered_disinfections(tables, scene)
    return tables, planted + late + undelivered


def _touched(visit: Visit) -> set[tuple[str, int]]:
    """Return the stays whose records a slip here leans on."""
    return {(visit.leg.unit_id, visit.position + step) for step in (-1, 0, 1, 2)}


def _late_changes(tables: Tables, scene: Scene, taken: set[tuple[str, int]]) -> Planted:
    """Let weekly changes come late wherever no other slip was planted."""
    random = scene.scenario.stream("slip", scene.site.site_id, "late_change")
    planted: list[Slip] = []
    for visit in scene.visits:
        free = (visit.leg.unit_id, visit.position) not in taken and scene.only_leg(visit.leg)
        if free and visit.leg.ended_at < scene.scenario.end - DAY:
            tables, found = part_slips.late_changes(tables, visit, scene, random)
            planted += found
    return tables, planted


def undelivered_disinfections(tables: Tables, scene: Scene) -> Planted:
    """The disinfection file of one month never came: its changeovers cannot be judged."""
    scenario, month = scene.scenario, scene.scenario.undelivered_month(scene.site)
    if month is None:
        return tables, []
    low, high = scenario.edges[month], scenario.edges[month + 1]
    lost = pl.col("started_at").is_between(low, high, closed="left")
    cycles = tables["disinfections"].with_columns((pl.col("recorded") & ~lost).alias("recorded"))
    expect = []
    for visit in scene.visits:
        hidden = [cycle for cycle in visit.cycles if low <= cycle.started_at < high]
        if visit.after is None or not hidden or scene.same_person(visit.leg, visit.after):
            continue
        known = [cycle for cycle in visit.cycles if cycle not in hidden and cycle.outcome == "passed"]
        stored_s = visit.after.started_at - max((cycle.ended_at for cycle in known), default=0)
        expired = stored_s > (scene.site.max_storage_days or 10**6) * DAY
        proof = "not_assessable" if not known else "expired" if expired else "disinfected"
        expect.append(changeover(visit.leg, visit.after, proof))
    slip = Slip("undelivered_month", "", "", iso(low), tuple(expect))
    return tables | {"disinfections": cycles}, [slip]
