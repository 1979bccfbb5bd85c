"""Which stays on a unit are linked to those asked about, and across which changeovers.

A changeover links two stays when no valid disinfection is known between them (contract section 4.6). Where the
records cannot tell, the stays behind it are listed apart as not to be judged; only a disinfection ends the list.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

#: The same patient's next stay on the unit; the published proofs are of changeovers between patients only.
SAME_PATIENT = "same_patient"

LINKS = frozenset({"invalid_cycle", "uncharted_use", "no_record", SAME_PATIENT})

#: Disinfected: expired or unproven storage is a failure of storage, and links nothing.
ENDS = frozenset({"disinfected", "expired", "storage_unproven"})

LATER, EARLIER = "later", "earlier"


@dataclass(frozen=True)
class Place:
    """Where a fact stands: the file as it was ingested, its SHA-256, and the row (header = row 1)."""

    file: str
    sha256: str
    row: int


@dataclass(frozen=True)
class LoggedUse:
    """Therapy that a unit logged with nobody on record, and where its log stands (first to last row)."""

    started_at: datetime
    ended_at: datetime
    minutes: float
    rows: tuple[tuple[Place, Place], ...]


@dataclass(frozen=True)
class Cycle:
    """A disinfection cycle as the records have it; ``a0_s`` is empty without temperatures."""

    started_at: datetime
    ended_at: datetime | None
    outcome: str
    valid: bool
    invalid_reason: str | None
    a0_s: float | None
    cycle_ref: str | None
    rows: tuple[Place, ...]


@dataclass(frozen=True)
class Stay:
    """One patient's stay on one unit; ``ended_at`` is empty while it lasts, ``rows`` are its episodes'."""

    site_id: str
    unit_id: str
    stay_no: int
    patient_key: str
    ward: str
    started_at: datetime
    ended_at: datetime | None
    overlapping: bool
    rows: tuple[Place, ...] = ()

    @property
    def person(self) -> tuple[str, str]:
        """Whose stay it is; keys of different sites do not compare."""
        return self.site_id, self.patient_key


@dataclass(frozen=True)
class Changeover:
    """What is on record between a stay and the one before it on its unit, with the cycles that were considered."""

    proof: str
    gap_h: float | None
    cycles: tuple[Cycle, ...] = ()
    logged_use: LoggedUse | None = None

    @property
    def links(self) -> bool:
        """Whether no valid disinfection is known between the two."""
        return self.proof in LINKS

    @property
    def ends(self) -> bool:
        """Whether the unit was disinfected between the two."""
        return self.proof in ENDS


@dataclass(frozen=True)
class Link:
    """A stay (``met``) on a unit after or before one asked about (``asked``), and the changeovers between."""

    direction: str
    asked: Stay
    met: Stay
    across: tuple[Changeover, ...]

    @property
    def is_judged(self) -> bool:
        """Whether every changeover between is a link; otherwise the records cannot tell."""
        return all(changeover.links for changeover in self.across)

    @property
    def proofs(self) -> tuple[str, ...]:
        """The proofs that decide: of a link all of them, otherwise those that leave it open."""
        return tuple(
            dict.fromkeys(
                changeover.proof for changeover in self.across if self.is_judged or not changeover.links
            )
        )


#: A stay with the changeover from the stay before it on its unit; the unit's first stay has none.
Step = tuple[Stay, Changeover | None]


def links(steps: Sequence[Step], is_asked: Callable[[Stay], bool]) -> list[Link]:
    """Return the links of all stays asked about, for steps in order of unit and stay.

    Of several stays asked about, a stay is linked to the nearest of another patient: whatever ends the list
    between those two lies between it and those further away, too.
    """
    found: list[Link] = []
    for stretch in _stretches(steps):
        found += _later(stretch, is_asked)
        found += _earlier(stretch, is_asked)
    return found


def _stretches(steps: Sequence[Step]) -> Iterator[list[Step]]:
    """Cut the stays of each unit at every disinfection."""
    for _, of_unit in groupby(steps, key=lambda step: (step[0].site_id, step[0].unit_id)):
        stretch: list[Step] = []
        for stay, changeover in of_unit:
            if stretch and changeover is not None and changeover.ends:
                yield stretch
                stretch = []
            stretch.append((stay, changeover))
        yield stretch


def _later(stretch: list[Step], is_asked: Callable[[Stay], bool]) -> Iterator[Link]:
    for place, (met, _) in enumerate(stretch):
        for before in range(place - 1, -1, -1):
            asked = stretch[before][0]
            if is_asked(asked) and asked.patient_key != met.patient_key:
                yield Link(LATER, asked, met, _between(stretch, before, place))
                break


def _earlier(stretch: list[Step], is_asked: Callable[[Stay], bool]) -> Iterator[Link]:
    """Look back; from a stay that is asked about itself, the later one's own link tells it already."""
    for place, (met, _) in enumerate(stretch):
        for after in () if is_asked(met) else range(place + 1, len(stretch)):
            asked = stretch[after][0]
            if is_asked(asked) and asked.patient_key != met.patient_key:
                yield Link(EARLIER, asked, met, _between(stretch, place, after))
                break


def _between(stretch: list[Step], first: int, last: int) -> tuple[Changeover, ...]:
    """Return the changeovers from one place of a stretch to a later one; inside it none is missing."""
    return tuple(changeover for _, changeover in stretch[first + 1 : last + 1] if changeover)
