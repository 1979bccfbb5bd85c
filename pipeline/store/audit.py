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


def record(store: Store, command: str, **facts: object) -> None:
    """Append one line: time, user, version, command and facts (counts and hashes, no patient data)."""
    lines = _lines(store)
    line = json.dumps(
        {
            "previous": _hash(lines[-1]) if lines else _START,
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
    write_bytes(store.audit_head, json.dumps({"lines": len(lines) + 1, "last": _hash(line)}).encode())


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
        # A run killed between its first line and the head leaves one line and no head.
        return [] if len(lines) <= 1 else [f"{store.audit_head.name}: missing."]
    except (OSError, ValueError, KeyError, TypeError):
        return [f"{store.audit_head.name}: cannot be read."]
    if len(lines) < count:
        return [f"{store.audit.name}: {count - len(lines)} of {count} lines are missing at the end."]
    if _hash(lines[count - 1]) != last:
        return [f"{store.audit.name}, line {count}: it was changed."]
    return []


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
