"""Months as text, such as ``2026-10``: their order, names and bounds."""

from __future__ import annotations

import re
from datetime import date, datetime

from pipeline.errors import UsageError
from pipeline.measures.calendar import instant
from pipeline.site_rules import SiteRules

NAMES = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def checked_month(month: str) -> str:
    """Return a month that is written as one; raise UsageError otherwise."""
    if not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", month) or month < "0001":
        raise UsageError(f"'{month}' is no month; write it such as 2026-10.")
    return month


def month_after(month: str) -> str:
    """Return the next month.

    >>> month_after("2026-12")
    '2027-01'
    """
    year, number = int(month[:4]), int(month[5:])
    return f"{year + number // 12:04d}-{number % 12 + 1:02d}"


def month_range(first: str, last: str) -> tuple[str, ...]:
    """Return the months from first to last, both included."""
    found = []
    while first <= last:
        found.append(first)
        first = month_after(first)
    return tuple(found)


def month_name(month: str) -> str:
    """Return a month in words.

    >>> month_name("2026-10")
    'October 2026'
    """
    return f"{NAMES[int(month[5:]) - 1]} {month[:4]}"


def month_label(month: str) -> str:
    """Return a month as an axis has it.

    >>> month_label("2026-10")
    'Oct 26'
    """
    return f"{NAMES[int(month[5:]) - 1][:3]} {month[2:4]}"


def months_in_words(months: tuple[str, ...]) -> str:
    """Return a stretch of months in words.

    >>> months_in_words(("2025-05", "2025-06"))
    'May 2025 to June 2025'
    """
    ends = [month_name(months[0]), month_name(months[-1])]
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def month_bounds(rules: SiteRules, month: str) -> tuple[datetime, datetime]:
    """Return the first instant (naive UTC) of a local month and of the one after."""
    first, after = (date.fromisoformat(f"{item}-01") for item in (month, month_after(month)))
    return instant(rules.zone, first), instant(rules.zone, after)
