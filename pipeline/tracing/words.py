"""What an answer says in plain words, and the cautions that each one carries."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.findings.cautions import CAUTIONS as EVERYWHERE
from pipeline.findings.cautions import PSEUDONYMS

CHECK = "Check the records of each person named; the list is where to start."

#: The first is said again beside every list.
CAUTIONS = (CHECK, *EVERYWHERE, PSEUDONYMS)

REVEALED = "This page names patients in clear. Who asked for that, and why, stands in the store's audit."

PROOFS = {
    "invalid_cycle": "a cycle ran, but none that counts",
    "uncharted_use": "disinfected, then used with nobody on record",
    "no_record": "no disinfection on record",
    "same_patient": "the same patient again, no valid cycle between",
    "overlap": "two patients on the unit at once in the records",
    "not_assessable": "disinfection records of this time were not exported",
    "counter_only": "the count rose, no record says why",
    "undecided": "a disinfection may still be charted",
    "disinfected": "disinfected",
    "expired": "disinfected, but stored longer than the site allows",
    "storage_unproven": "disinfected, but protected storage is not recorded",
}

REASONS = {
    "failed": "it failed",
    "interrupted": "it was interrupted",
    "no_end": "its end is not recorded",
    "short": "it was too short",
    "no_temperatures": "no temperatures of it are recorded",
    "low_a0": "its heat dose was too low",
    "short_hold": "it was not long enough at heat",
    "left_out": "this question leaves it out",
}

DIRECTIONS = {"later": "came after", "earlier": "was there before"}


def proofs(names: Iterable[str]) -> str:
    """Return several proofs as one text.

    >>> proofs(("no_record", "same_patient"))
    'no disinfection on record; the same patient again, no valid cycle between'
    """
    return "; ".join(PROOFS[name] for name in names)
