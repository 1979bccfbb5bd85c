"""The audit of a store, read back and held against its own chain."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Any

from pipeline.store import audit
from pipeline.store.layout import Store


@dataclass(frozen=True)
class AuditLines:
    """The lines as they stand, the faults of their chain, and the SHA-256 of the last, empty without lines."""

    lines: list[dict[str, Any]]
    faults: list[str]
    last: str


def audit_lines(store: Store) -> AuditLines:
    """Return a store's audit; a line that cannot be read stands as an empty one, and is among the faults."""
    # What a killed run left of a last line was never part of the record.
    texts = store.audit.read_text("utf-8", errors="replace").split("\n")[:-1] if store.audit.exists() else []
    last = hashlib.sha256(texts[-1].encode()).hexdigest() if texts else ""
    return AuditLines([_parsed(text) for text in texts], audit.verify(store), last)


def _parsed(text: str) -> dict[str, Any]:
    try:
        line = json.loads(text)
    except ValueError:
        return {}
    return line if isinstance(line, dict) else {}
