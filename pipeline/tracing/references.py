"""Patient references shown in clear: only with the store's key, for a stated reason, and on the record."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import TypeVar

from pipeline.errors import UsageError
from pipeline.store import audit
from pipeline.store.keys import load_key, recall
from pipeline.store.layout import Store
from pipeline.store.lock import hold
from pipeline.tracing.recall import Recall
from pipeline.tracing.subject import Person
from pipeline.tracing.trace import Trace
from pipeline.tracing.unit_history import UnitHistory

#: Shorter references are too likely to be part of an ordinary word or number.
_TELLING = 5

_Found = TypeVar("_Found", Trace, Recall, UnitHistory)


def revealed(store: Store, found: _Found, reason: str | None, command: str) -> _Found:
    """Return an answer with the references of all patients in it; without a reason as it is."""
    return replace(found, references=reveal(store, found.persons, reason, command)) if reason else found


def reveal(store: Store, persons: Collection[Person], reason: str, command: str) -> dict[Person, str]:
    """Return the references behind keys, after writing who saw how many and why to the audit.

    The audit holds no key and no reference, so that a patient who is forgotten is forgotten there as well; the
    hash of the list lets an auditor check a list that lies before them. Raises PrivacyGuard for a wrong key,
    UsageError for a reason that names a patient.
    """
    known = recall(store, load_key(store, create=False))
    require_no_reference(reason, known)
    found = {person: known[person] for person in sorted(persons) if person in known}
    listed = "\n".join("\x1f".join(person) for person in found)
    with hold(store):
        audit.record(
            store,
            "reveal",
            of=command,
            reason=reason.strip(),
            references=len(found),
            list_sha256=hashlib.sha256(listed.encode()).hexdigest(),
        )
    return found


def require_no_reference(reason: str, known: Mapping[Person, str]) -> None:
    """Raise UsageError for a reason that holds a patient reference: the audit is kept, and kept in clear."""
    said, words = _folded(reason), {_folded(word) for word in reason.split()}
    for folded in map(_folded, known.values()):
        if folded in words or (len(folded) >= _TELLING and folded in said):
            raise UsageError("--reason names a patient; write why, not whom, for it is kept in clear.")


def _folded(text: str) -> str:
    return "".join(letter for letter in text.upper() if letter.isalnum())
