"""Every failure that a person can mend, each with the exit status it ends in."""

from __future__ import annotations

DONE, FAULT, USAGE, QUARANTINED, GATE, NOTHING, BUSY, STORAGE, PRIVACY = range(9)


class DewledgerError(Exception):
    """Says what is wrong, where, and what to do; shown as one line, never as a traceback."""

    exit_status = FAULT
    word = "fault"


class UsageError(DewledgerError):
    """Wrong usage, rules or profile."""

    exit_status = USAGE
    word = "usage"


class RefusedFile(DewledgerError):
    """A file that cannot be read as its table at all; the other files go on."""

    exit_status = QUARANTINED
    word = "refused_file"


class QualityGate(DewledgerError):
    """The data are too poor, or too incomplete, to publish a report from."""

    exit_status = GATE
    word = "quality_gate"


class NothingToDo(DewledgerError):
    """No data for what was asked."""

    exit_status = NOTHING
    word = "nothing_to_do"


class StoreBusy(DewledgerError):
    """Another run holds the store."""

    exit_status = BUSY
    word = "store_busy"


class StorageTrouble(DewledgerError):
    """The store is full, read-only or damaged."""

    exit_status = STORAGE
    word = "storage_trouble"


class PrivacyGuard(DewledgerError):
    """The key that patient references are hidden with is missing or wrong."""

    exit_status = PRIVACY
    word = "privacy_guard"
