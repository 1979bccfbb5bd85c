"""The period a question is about, as a person writes it: days of the site, or instants with an offset."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from pipeline.errors import UsageError
from pipeline.instants import parse_instant
from pipeline.measures import calendar

_DATE = len("2026-10-01")


@dataclass(frozen=True)
class Period:
    """From a day's start or an instant, through a day's end or up to an instant; either may be open."""

    first: str | None = None
    last: str | None = None

    def bounds(self, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """Return first instant and end, as naive UTC, for a site's time zone."""
        first = _instant(self.first, zone, 0) if self.first else datetime.min
        last = _instant(self.last, zone, 1) if self.last else datetime.max
        if first >= last:
            raise UsageError(f"--from {self.first} does not lie before --until {self.last}.")
        return first, last

    def meets(self, zone: ZoneInfo, start: datetime, end: datetime | None) -> bool:
        """Say whether something from start to end (open when empty) lies at least in part in the period."""
        first, last = self.bounds(zone)
        return start < last and (end is None or end > first or start >= first)


#: All that is on record.
ALWAYS = Period()


def _instant(text: str, zone: ZoneInfo, days: int) -> datetime:
    if len(text.strip()) != _DATE:
        return parse_instant(text)
    try:
        return calendar.instant(zone, date.fromisoformat(text.strip()) + timedelta(days=days))
    except ValueError as error:
        raise UsageError(f"'{text}' is no day; write it such as 2026-10-01.") from error
