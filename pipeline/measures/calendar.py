"""Local days and months as UTC instants, so that SQL never asks for a time zone."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

#: (local date, month, first instant, first instant of the next day, instant of the census)
Day = tuple[date, str, datetime, datetime, datetime]
#: (number of the month, month, first instant, first instant of the next month)
Month = tuple[int, str, datetime, datetime]


def instant(zone: ZoneInfo, day: date, at: time = time()) -> datetime:
    """Return the naive UTC instant of a local time of day.

    A time that occurs twice is its earlier instant; one that a spring gap leaves out is read by the offset
    in force before the gap, so that a day without a midnight begins at the gap.

    >>> instant(ZoneInfo("Europe/Dublin"), date(2026, 7, 1))
    datetime.datetime(2026, 6, 30, 23, 0)
    """
    return datetime.combine(day, at, tzinfo=zone).astimezone(UTC).replace(tzinfo=None)


def local_days(zone: ZoneInfo, first: date, last: date, census: time) -> list[Day]:
    """Return the local days from first to last, both included."""
    days = [first + timedelta(days=number) for number in range((last - first).days + 2)]
    starts = [instant(zone, day) for day in days]
    return [
        (day, f"{day:%Y-%m}", starts[number], starts[number + 1], instant(zone, day, census))
        for number, day in enumerate(days[:-1])
    ]


def local_months(zone: ZoneInfo, first: date, last: date) -> list[Month]:
    """Return the local months from that of first to that of last."""
    numbers = range(first.year * 12 + first.month - 1, last.year * 12 + last.month + 1)
    starts = [instant(zone, date(number // 12, number % 12 + 1, 1)) for number in numbers]
    return [
        (number, f"{number // 12:04d}-{number % 12 + 1:02d}", starts[index], starts[index + 1])
        for index, number in enumerate(numbers[:-1])
    ]
