"""Links over random small wards against a recount that shares nothing with the program but the exports.

The recount reads contract sections 1, 4.1, 4.4 and 4.5 literally, unit by unit, stay by stay. The wards leave out
what other tests hold: missing ends, short overlaps, counts and logged use.
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from itertools import pairwise

from traced_ward import MakeWard

from pipeline.store.layout import open_store
from pipeline.tracing import stays
from pipeline.tracing.judge import known_at, make
from pipeline.tracing.links import links

UNITS = 120
HOUR = timedelta(hours=1)
SLACK, CHARTING = timedelta(minutes=10), timedelta(minutes=120)
_BEGIN = datetime(2026, 1, 2)
#: No cycle begins in April, so that changeovers in it cannot be judged.
_WITHOUT_CYCLES = datetime(2026, 4, 1), datetime(2026, 5, 1)

Episode = tuple[str, datetime, datetime]
Cycle = tuple[datetime, datetime, str]


def random_unit(rng: random.Random, unit: int) -> tuple[list[Episode], list[Cycle]]:
    """Return a unit's episodes and cycles; no cycle begins in the last hours of an episode, where ends would move."""
    episodes: list[Episode] = []
    now = _BEGIN + rng.randrange(120) * 24 * HOUR
    for _ in range(rng.randint(2, 6)):
        start = now + rng.choice((0, 1, 3, 20, 30, 60, 400)) * HOUR
        end = start + rng.randint(9, 60) * HOUR
        episodes.append((f"p{unit}-{rng.randint(1, 3)}", start, end))
        now = end
    cycles = []
    for before, after in pairwise(episodes):
        for _ in range(rng.choice((0, 0, 1, 2))):
            room = int((after[1] - before[2]) / HOUR)
            start = (
                before[2]
                + rng.randint(0, max(room, 0)) * HOUR
                + rng.choice((-10, 0, 5)) * timedelta(minutes=1)
            )
            end = start + rng.choice((30, 50, 70)) * timedelta(minutes=1)
            if _moves_no_end(episodes, start) and not _WITHOUT_CYCLES[0] <= start < _WITHOUT_CYCLES[1]:
                cycles.append((start, end, rng.choice(("passed", "passed", "failed"))))
    return episodes, [*{cycle[0]: cycle for cycle in cycles}.values()]


def _moves_no_end(episodes: list[Episode], start: datetime) -> bool:
    return not any(begins < start <= ends and ends - start <= CHARTING for _, begins, ends in episodes)


def recount(
    episodes: list[Episode],
    cycles: list[Cycle],
    asked: str,
    as_of: datetime,
    covered: set[str],
    first: datetime,
) -> set[tuple]:
    """Return (direction, other patient, start of the other's stay, judged) for one patient on one unit."""
    merged = _stays(episodes, cycles)
    found = set()
    for place, mine in enumerate(merged):
        if mine[0] != asked:
            continue
        for other_place, other in enumerate(merged):
            if other[0] == asked:
                continue
            low, high = sorted((place, other_place))
            said = [_link(merged[i], merged[i + 1], cycles, as_of, covered, first) for i in range(low, high)]
            if "no" not in said:
                direction = "later" if other_place > place else "earlier"
                found.add((direction, other[0], other[1], "maybe" not in said))
    # Of several of the patient's stays, one that is linked beyond doubt decides.
    return {link for link in found if link[3] or (*link[:3], True) not in found}


def _stays(episodes: list[Episode], cycles: list[Cycle]) -> list[list]:
    """Return patient, start, end and whether the stay overlaps another patient's."""
    clash = {
        one for one in episodes for other in episodes
        if one[0] != other[0] and one[1] < other[2] and other[1] < one[2]
    }  # fmt: skip
    stays: list[list] = []
    for episode in sorted(episodes, key=lambda item: (item[1], item[0])):
        patient, start, end = episode
        last = stays[-1] if stays else None
        if (
            last
            and last[0] == patient
            and start - last[2] <= 24 * HOUR
            and not any(_lies_between(cycle, last[2], start) for cycle in cycles)
        ):
            last[2], last[3] = max(last[2], end), last[3] or episode in clash
        else:
            stays.append([patient, start, end, episode in clash])
    return stays


def _lies_between(cycle: Cycle, low: datetime, high: datetime) -> bool:
    return cycle[2] == "passed" and cycle[0] >= low - SLACK and cycle[1] <= high + SLACK


def _link(
    one: list, other: list, cycles: list[Cycle], as_of: datetime, covered: set[str], first: datetime
) -> str:
    if one[3] or other[3]:
        return "maybe"
    if any(_lies_between(cycle, one[2], other[1]) for cycle in cycles):
        return "no"
    if one[0] == other[0] or any(one[2] - SLACK <= cycle[0] <= other[1] + SLACK for cycle in cycles):
        return "yes"
    day, months = one[2], {f"{one[2]:%Y-%m}"}
    while day < other[1]:
        months.add(f"{day:%Y-%m}")
        day += HOUR
    if not months <= covered or one[2] < first:
        return "maybe"
    return "maybe" if as_of < other[1] + CHARTING else "yes"


def test_links_agree_with_the_recount(ward: MakeWard):
    rng = random.Random(20260311)
    made = {f"u{number}": random_unit(rng, number) for number in range(UNITS)}
    # A second episode that lies across another, on every fifth unit.
    for number in range(0, UNITS, 5):
        patient, start, end = made[f"u{number}"][0][0]
        crossing = (f"{patient}x", start + 3 * HOUR, end - 3 * HOUR)
        made[f"u{number}"][0].append(crossing)
    store = ward({
        "episodes": [
            f"{patient} | {unit} | Alder | {start:%m-%d %H:%M} | {end:%m-%d %H:%M}"
            for unit, (episodes, _) in made.items() for patient, start, end in episodes
        ],
        "disinfections": [
            f"{unit} | | {start:%m-%d %H:%M} | {end:%m-%d %H:%M} | {outcome}"
            for unit, (_, cycles) in made.items() for start, end, outcome in cycles
        ],
    })  # fmt: skip
    all_cycles = [cycle for _, cycles in made.values() for cycle in cycles]
    covered, first = (
        {f"{start:%Y-%m}" for start, _, _ in all_cycles},
        min(start for start, _, _ in all_cycles),
    )
    kinds = set()
    with known_at(open_store(store, create=False), None) as records:
        make(records, stays.TABLES)
        months = {f"{records.as_of:%Y-%m}"} if f"{records.as_of - 31 * 24 * HOUR:%Y-%m}" in covered else set()
        for unit, (episodes, cycles) in made.items():
            steps = stays.steps(records, [("TARN", unit)])
            keys = {stay.started_at: stay.patient_key for stay, _ in steps}
            for asked in {patient for patient, _, _ in episodes}:
                wanted = recount(episodes, cycles, asked, records.as_of, covered | months, first)
                mine = {keys[start] for patient, start, _ in episodes if patient == asked and start in keys}
                found = {
                    (link.direction, link.met.patient_key, link.met.started_at, link.is_judged)
                    for link in links(steps, lambda stay, mine=mine: stay.patient_key in mine)
                }
                assert found == {(way, keys[start], start, judged) for way, _, start, judged in wanted}, unit
                kinds |= {(link[0], link[3]) for link in found}
    assert len(kinds) == 4, "the wards must hold links and doubts both ways"
