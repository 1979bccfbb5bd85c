"""When it happened: the days on which parts stood past their limit, and the hours at which bags ran empty."""

from __future__ import annotations

import calendar
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import polars as pl

from pipeline.findings.model import Cell, Column, Figure, Table
from pipeline.findings.months import month_bounds, months_in_words
from pipeline.findings.source import Source
from pipeline.findings.wording import counted, part_words, sentence
from pipeline.signals.turnaround_breakdown import SHIFTS

#: Months of a calendar.
_MONTHS = 12

#: Kinds of record without which nobody can say that a part was past its limit.
_NEEDED = frozenset({"part_changes", "episodes"})


def calendars(source: Source) -> tuple[Figure, ...]:
    """Return a calendar for each part of which some stood past the limit in the last twelve months."""
    found = ((part, _past_by_day(source, part)) for part in source.limited_parts)
    return tuple(_calendar(source, part, days) for part, days in found if days)


def _past_by_day(source: Source, part: str) -> Counter[date]:
    """Return for each local day of the months shown how many parts stood past their limit at some time of it."""
    spans = source.facts("part_spans").filter(pl.col("overrun_h") > 0, part=part, outcome="overrun")
    first, after = month_bounds(source.rules, _months(source)[0])[0], source.bounds[1]
    days: Counter[date] = Counter()
    for limit, hours in spans.select("limit_at", "overrun_h").rows():
        begins, ends = max(limit, first), min(limit + timedelta(hours=hours), after)
        days.update(_local_days(source, begins, ends) if begins < ends else ())
    return days


def _local_days(source: Source, begins: datetime, ends: datetime) -> Iterator[date]:
    """Yield the local days that an interval touches; the instant at which it ends does not count."""
    day, last = (_local(source, moment).date() for moment in (begins, ends - timedelta(microseconds=1)))
    while day <= last:
        yield day
        day += timedelta(days=1)


def _local(source: Source, moment: datetime) -> datetime:
    return moment.replace(tzinfo=UTC).astimezone(source.zone)


def _months(source: Source) -> tuple[str, ...]:
    return source.months[-_MONTHS:]


def _calendar(source: Source, part: str, days: Counter[date]) -> Figure:
    months = _months(source)
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (f"{day:%Y-%m}", day.day, number) for day, number in sorted(days.items())
    )
    name = sentence(part_words(part))
    now = sum(f"{day:%Y-%m}" == source.month for day in days)
    count = Column("Past the limit", "count")
    caption = f"Days with a {part_words(part)} past its limit; other days of covered months have none"
    return Figure(
        f"calendar-{part}",
        "calendar",
        f"{name}s stood past the limit on {counted(now, 'day')} of {source.month_words}",
        f"How many at some time of the day, {months_in_words(months)}",
        Table(f"calendar-{part}", caption, (Column("Month", "month"), Column("Day", "count"), count), rows),
        note="A day without a cell: none on record. A month without a line: its records do not reach so far.",
        ground=_ground(source, months),
    )


def _ground(source: Source, months: tuple[str, ...]) -> Table:
    """Return the number of days of each month, none of one that the records do not cover."""
    covered = source.covered_by(_NEEDED)
    rows = tuple(
        (month, calendar.monthrange(int(month[:4]), int(month[5:]))[1] if month in covered else 0)
        for month in months
    )
    return Table(
        "calendar-days", "Days of each month", (Column("Month", "month"), Column("Days", "count")), rows
    )


def empty_by_hour(source: Source) -> tuple[Figure, ...]:
    """Return the local hours at which the model has bags empty while therapy went on; no figure where it has none."""
    months = _months(source)
    first, after = month_bounds(source.rules, months[0])[0], source.bounds[1]
    dry = source.facts("bag_runs").filter(
        pl.col("dry_therapy_min") > 0,
        pl.col("modelled_empty_at") >= first,
        pl.col("modelled_empty_at") < after,
    )
    hours = Counter(_local(source, moment).hour for moment in dry["modelled_empty_at"])
    if not hours:
        return ()
    shifts = Counter(_shift(hour) for hour in hours.elements())
    told = ", ".join(f"{shifts[name]:,} {name.replace(', ', ' (')})" for _, name in SHIFTS)
    rows: tuple[tuple[Cell, ...], ...] = tuple((f"{hour:02d}", hours[hour]) for hour in range(24))
    table = Table("empty-hours", "Bags modelled empty during therapy by local hour",
                  (Column("Hour"), Column("Bags", "count")), rows)  # fmt: skip
    title = f"{counted(hours.total(), 'bag')} modelled empty during therapy: {told}"
    subtitle = f"By the local hour of running empty, by estimate, {months_in_words(months)}"
    return (Figure("empty-hours", "by_hour", title, subtitle, table),)


def _shift(hour: int) -> str:
    """Return the shift that an hour lies in; the last goes on past midnight.

    >>> _shift(6), _shift(7)
    ('night, 23 to 07', 'early, 07 to 15')
    """
    return next((name for begins, name in reversed(SHIFTS) if hour >= begins), SHIFTS[-1][1])
