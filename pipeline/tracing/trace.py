"""Look-forward and look-back: who used a unit after, and who before, with no valid disinfection known between."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from pipeline.errors import NothingToDo
from pipeline.store.layout import Store
from pipeline.tracing import stays, subject
from pipeline.tracing.judge import CycleKey, Records, known_at, make, only_samples_of
from pipeline.tracing.links import EARLIER, LATER, Link, Stay, Step, links
from pipeline.tracing.period import ALWAYS, Period
from pipeline.tracing.subject import Person, Subject


@dataclass(frozen=True)
class Question:
    """What to trace: one of ``patient`` (a reference or a key), ``unit``, ``lot`` or ``cycle``.

    ``period`` limits the stays asked about, not who is linked to them. ``min_a0_s`` and ``without_cycles``
    judge cycles otherwise than the site does, for this answer only.
    """

    kind: str
    text: str
    site: str | None = None
    period: Period = ALWAYS
    as_of: datetime | None = None
    min_a0_s: float | None = None
    without_cycles: tuple[str, ...] = ()


@dataclass(frozen=True)
class Trace:
    """The answer. ``context`` are the stays of a picture: those asked about, those linked, and what ends them.

    ``judged_otherwise`` says how this answer departs from the site's rules; ``references`` is empty unless
    they were revealed.
    """

    asked: str
    as_of: datetime
    zones: dict[str, ZoneInfo]
    judged_otherwise: tuple[str, ...]
    stays: tuple[Stay, ...]
    links: tuple[Link, ...]
    context: tuple[Step, ...]
    references: dict[Person, str] = field(default_factory=dict)

    def linked(self, direction: str) -> list[Link]:
        """Return the links in one direction that the records bear out."""
        return [link for link in self.links if link.direction == direction and link.is_judged]

    @property
    def exposure(self) -> tuple[Stay, Stay] | None:
        """The window of exposure: the linked stay that began first, and the one that lasts longest; None without."""
        linked = {link.met for link in self.links if link.is_judged}
        met = sorted(linked, key=lambda stay: (stay.started_at, stay.site_id, stay.unit_id))
        return (met[0], max(met, key=lambda stay: stay.ended_at or datetime.max)) if met else None

    @property
    def unjudged(self) -> list[Link]:
        """The stays that can neither be linked nor cleared."""
        return [link for link in self.links if not link.is_judged]

    @property
    def persons(self) -> set[Person]:
        """Everybody in it."""
        return {stay.person for stay in (*self.stays, *(link.met for link in self.links))}

    @property
    def patients_linked(self) -> int:
        """How many distinct patients are linked."""
        return patients(link for direction in (LATER, EARLIER) for link in self.linked(direction))

    @property
    def patients_unjudged(self) -> int:
        """How many distinct patients cannot be judged anywhere, and are linked nowhere."""
        linked = {link.met.person for link in self.links if link.is_judged}
        return len({link.met.person for link in self.unjudged} - linked)


def patients(found: Iterable[Link]) -> int:
    """Return how many distinct patients some links are to; one at two sites counts at each."""
    return len({link.met.person for link in found})


def trace(store: Store, question: Question) -> Trace:
    """Answer a question from the store; raise NothingToDo when it names nothing on record."""
    with known_at(store, question.as_of, question.min_a0_s, question.site) as records:
        found = _subject(store, records, question)
        left_out = [*found.left_out, *_left_out(records, question.without_cycles)]
        only_samples_of(records, {unit for _, unit in found.units})
        make(records, stays.TABLES, left_out)
        steps = stays.steps(records, found.units)
        asked = {stay for stay in _stays(steps) if _is_asked(records, found, question.period, stay)}
        if not asked:
            raise NothingToDo(f"No stay of {found.words} lies in the period asked about.")
        answer = Trace(
            asked=found.words,
            as_of=records.as_of,
            zones={site: rules.zone for site, rules in records.sites.items()},
            judged_otherwise=_judged_otherwise(question.min_a0_s, left_out),
            stays=tuple(stay for stay in _stays(steps) if stay in asked),
            links=tuple(links(steps, asked.__contains__)),
            context=(),
        )
        return replace(answer, context=tuple(_context(steps, answer)))


def _subject(store: Store, records: Records, question: Question) -> Subject:
    if question.kind == "patient":
        return subject.patient(records, subject.keys_of(store, question.text, records.sites))
    return {"unit": subject.unit, "lot": subject.lot, "cycle": subject.cycle}[question.kind](
        records, question.text
    )


def _stays(steps: Sequence[Step]) -> list[Stay]:
    return [stay for stay, _ in steps]


def _is_asked(records: Records, found: Subject, period: Period, stay: Stay) -> bool:
    zone = records.sites[stay.site_id].zone
    return found.chosen(stay) and period.meets(zone, stay.started_at, stay.ended_at)


def _left_out(records: Records, named: Sequence[str]) -> list[CycleKey]:
    return [cycle for text in named for cycle in subject.cycles_named(records, text)]


def _judged_otherwise(min_a0_s: float | None, left_out: Sequence[CycleKey]) -> tuple[str, ...]:
    """Say how cycles were judged otherwise than the site's rules do."""
    said = [
        f"The cycle of {start.isoformat()}Z on unit {unit} ({site}) counts as not good."
        for site, unit, start in sorted(set(left_out))
    ]
    if min_a0_s is not None:
        said.insert(0, f"A cycle counts from an A0 of {min_a0_s:g} s on, whatever the site's rules say.")
    return tuple(said)


def _context(steps: Sequence[Step], answer: Trace) -> list[Step]:
    """Return the steps to show: each stay that is asked about or met, and the step that ends the list."""
    met = {*answer.stays, *(link.met for link in answer.links)}
    follows = [
        False,
        *(_are_neighbours(one[0], next_one[0]) and one[0] in met for one, next_one in pairwise(steps)),
    ]
    return [step for step, after_met in zip(steps, follows, strict=False) if step[0] in met or after_met]


def _are_neighbours(one: Stay, other: Stay) -> bool:
    return (one.site_id, one.unit_id) == (other.site_id, other.unit_id)
