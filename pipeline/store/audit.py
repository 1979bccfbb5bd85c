"""What was done to a store, by whom and when: chained lines, so that a change or a gap shows."""

from __future__ import annotations

import datetime
import getpass
import hashlib
import json
import os
from typing import Any

import pipeline
from pipeline.errors import StorageTrouble
from pipeline.store.layout import Store
from pipeline.store.parquet import append_line, write_bytes

_START = "0" * 64
#: What the next line follows when lines were changed or taken away: the fault stays for good.
_BROKEN = "broken"


def begin(store: Store) -> None:
    """Say of a store that holds nothing yet that its record has no line, so that a missing one is missed."""
    if not store.audit_head.exists() and not _holds_files(store):
        _write_head(store, 0, _START)


def record(store: Store, command: str, **facts: object) -> None:
    """Append one line: time, user, version, command and facts (counts and hashes, no patient data)."""
    lines = _lines(store)
    line = json.dumps(
        {
            "previous": _BROKEN if _head_faults(store, lines) else _hash(lines[-1]) if lines else _START,
            "at": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            "user": _user(),
            "program_version": pipeline.__version__,
            "command": command,
            **facts,
        },
        ensure_ascii=True,
        sort_keys=False,
    )
    append_line(store.audit, line)
    _write_head(store, len(lines) + 1, _hash(line))


def recorded(store: Store, command: str) -> list[dict[str, Any]]:
    """Return the facts that a command recorded, oldest first; StorageTrouble when the record was tampered with."""
    if faults := verify(store):
        raise StorageTrouble(" ".join(faults))
    lines = (json.loads(line) for line in _lines(store))
    return [line for line in lines if line["command"] == command]


def verify(store: Store) -> list[str]:
    """Return the faults of the chain, one line each; none when nothing was changed or taken away."""
    lines = _lines(store)
    faults = []
    expected = _START
    for number, line in enumerate(lines, start=1):
        if _previous(line) != expected:
            faults.append(f"{store.audit.name}, line {number}: it does not follow the line before it.")
        expected = _hash(line)
    return faults + _head_faults(store, lines)


def _head_faults(store: Store, lines: list[str]) -> list[str]:
    """The chain cannot tell that its last lines are gone or changed; the head can."""
    try:
        head = json.loads(store.audit_head.read_bytes())
        count, last = int(head["lines"]), str(head["last"])
    except FileNotFoundError:
        return [f"{store.audit_head.name}: missing."] if lines or _holds_files(store) else []
    except (OSError, ValueError, KeyError, TypeError):
        return [f"{store.audit_head.name}: cannot be read."]
    if len(lines) < count:
        return [f"{store.audit.name}: {count - len(lines)} of {count} lines are missing at the end."]
    if count and _hash(lines[count - 1]) != last:
        return [f"{store.audit.name}, line {count}: it was changed."]
    # A run killed between its line and the head leaves one line more.
    return [f"{store.audit.name}: lines were added at the end."] if len(lines) > count + 1 else []


def _write_head(store: Store, lines: int, last: str) -> None:
    write_bytes(store.audit_head, json.dumps({"lines": lines, "last": last}).encode())


def _holds_files(store: Store) -> bool:
    return any(store.ledger.glob("*.json"))


def _lines(store: Store) -> list[str]:
    """Return the whole lines; what a killed run left of a last one was never part of the record."""
    try:
        text = store.audit.read_bytes().decode("utf-8", errors="replace")
    except FileNotFoundError:
        return []
    except OSError as error:
        raise StorageTrouble(f"{store.audit}: cannot be read: {error.strerror}.") from error
    return text.split("\n")[:-1]


def _previous(line: str) -> str | None:
    try:
        return str(json.loads(line)["previous"])
    except (ValueError, KeyError, TypeError):
        return None


def _hash(line: str) -> str:
    return hashlib.sha256(line.encode()).hexdigest()


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # a user without an entry in the system's list
        return str(os.getuid())
