"""Instants as people and other programs write them."""

from __future__ import annotations

from datetime import UTC, date, datetime

from pipeline.errors import UsageError


def parse_instant(text: str) -> datetime:
    """Return an ISO 8601 instant as naive UTC in whole seconds; one without an offset is refused.

    >>> parse_instant("2026-10-01T08:00:00+02:00")
    datetime.datetime(2026, 10, 1, 6, 0)
    """
    try:
        stated = datetime.fromisoformat(text.strip().replace("z", "Z"))
    except ValueError as error:
        raise UsageError(f"'{text}' is no instant; write one such as 2026-11-01T00:00:00Z.") from error
    if stated.tzinfo is None:
        raise UsageError(f"'{text}' names no offset, so it could be several instants; add Z or +01:00.")
    return stated.astimezone(UTC).replace(tzinfo=None, microsecond=0)


def parse_month(text: str) -> str:
    """Return a month written YYYY-MM, checked.

    >>> parse_month("2026-10")
    '2026-10'
    """
    try:
        if len(text) != 7:
            raise ValueError
        return f"{date.fromisoformat(f'{text}-01'):%Y-%m}"
    except ValueError as error:
        raise UsageError(f"'{text}' is no month; write it as YYYY-MM, such as 2026-10.") from error
