"""A drafted profile as TOML that a person reads: every setting with its reason, every doubt left open beside it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from pipeline.ingest.drafting.draft import ColumnDraft, Draft

_SECTIONS = ("columns", "constants", "units", "durations", "codes")
_WIDTH = 96


def profile_toml(draft: Draft) -> str:
    """Return the text of a profile; what is open stands in it as comments."""
    return "\n".join(_lines(draft)) + "\n"


def _lines(draft: Draft) -> Iterator[str]:
    yield from _comment(f"Drafted from {draft.file}. Check every line, and settle what is marked OPEN.")
    for reason in draft.reasons:
        yield from _comment(reason)
    for doubt in draft.doubts:
        yield from _comment(f"OPEN: {doubt}")
    yield ""
    for key, value in draft.settings.items():
        if key not in _SECTIONS:
            yield f"{key} = {_value(value)}"
    if draft.table is None:
        yield '# table = "…"'
    yield '# time_zone = "…"  (left out: the site\'s own)'
    yield ""
    yield "[columns]"
    named = draft.settings.get("columns", {})
    for column in draft.columns:
        yield from _column(column, named)
    for section in _SECTIONS[1:]:
        if section in draft.settings:
            yield from _section(section, draft.settings[section])


def _column(column: ColumnDraft, named: dict[str, Any]) -> Iterator[str]:
    if column.ours is None:
        told = f"OPEN: {column.doubt}" if column.doubt else "not read"
        yield from _comment(f"{column.name}: {told}")
        return
    yield from _comment(f"{column.name}: {'; '.join(column.reasons)}")
    theirs = named.get(column.ours)
    # Of two columns that make one instant, the second names both.
    if theirs == column.name or (isinstance(theirs, list) and theirs[1] == column.name):
        yield f"{column.ours} = {_value(theirs)}"


def _section(name: str, content: dict[str, Any]) -> Iterator[str]:
    yield ""
    if name != "codes":
        yield f"[{name}]"
        yield from (f"{key} = {_value(value)}" for key, value in content.items())
        return
    for column, codes in content.items():
        yield f"[codes.{column}]"
        yield from (
            f"{json.dumps(theirs, ensure_ascii=False)} = {_value(ours)}" for theirs, ours in codes.items()
        )


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


def _comment(text: str) -> Iterator[str]:
    """Yield a text as lines of comment; a line break in it cannot end one."""
    line = "#"
    for word in text.split():
        if len(line) + len(word) > _WIDTH:
            yield line
            line = "#  "
        line += f" {word}"
    yield line
