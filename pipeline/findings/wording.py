"""How numbers and codes read: one format per kind of value, one plain word per code."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from pipeline.findings.model import Cell, Difference, Point, Share
from pipeline.findings.months import NAMES, month_name
from pipeline.measures.intervals import Limits

NOT_KNOWN = "–"

#: Kinds of values that are numbers.
NUMBERS = frozenset({"count", "share", "hours", "minutes", "days", "millilitres", "ratio", "number"})

#: Proofs of a changeover that leave it unprotected, in the contract's order.
UNPROTECTED = ("expired", "storage_unproven", "invalid_cycle", "uncharted_use", "no_record")

PROOFS = {
    "expired": "disinfected, but stored longer than the site allows",
    "storage_unproven": "disinfected, but protected storage is not recorded",
    "invalid_cycle": "a cycle was run, but none that counts as valid",
    "uncharted_use": "used after its cycle without a charted patient",
    "no_record": "no cycle on record between the two patients",
    "counter_only": "count rose, no record: for infection prevention to judge",
}

VERDICTS = {
    "unrecorded": "counter rose by more than the records",
    "uncounted": "records show more than the counter",
    "rollback": "counter went down",
    "likely_misread": "one reading is likely misread",
}

COVER = {
    "in_limit_h": "in limit",
    "over_limit_h": "over limit",
    "carried_over_h": "carried over",
    "undocumented_h": "undocumented",
    "not_assessable_h": "not assessable",
}

FRESH = {"carried_over": "carried over from another patient", "no_record": "no record of a new one"}


def shown(value: Cell, kind: str, zone: ZoneInfo | None = None) -> str:
    """Return a value as the report prints it; ``zone`` is needed for instants.

    >>> shown(0.0283, "share"), shown(14123.6, "hours"), shown(None, "count"), shown(-0.012, "points")
    ('2.8%', '14,124 h', '–', '−1.2 points')
    """
    if value is None:
        return NOT_KNOWN
    if isinstance(value, datetime):
        return _shown_instant(value, zone)
    if isinstance(value, str):
        return month_name(value) if kind == "month" else value.replace("_", " ") if kind == "part" else value
    return change(value, "points") if kind == "points" else _plain(value, kind)


def _plain(value: float, kind: str) -> str:
    match kind:
        case "count":
            return f"{value:,.0f}"
        case "share":
            return f"{_percent(value)}%"
        case "hours":
            return f"{value:,.0f} h" if abs(value) >= 100 else f"{value:,.1f} h"
        case "minutes":
            return f"{value:,.0f} min"
        case "days":
            return f"{value:,.1f} days"
        case "millilitres":
            return f"{value:,.0f} mL"
        case "ratio":
            return f"{value:,.2f}"
    return f"{value:,.1f}"


def _percent(share: float) -> str:
    """One decimal, but never 0 or 100 for what is neither."""
    text = f"{100 * share:.1f}"
    if text == "100.0" and share < 1:
        return ">99.9"
    return "<0.1" if text == "0.0" and share > 0 else text


def change(value: float, unit: str) -> str:
    """Return a difference with its sign, of shares in points.

    >>> change(-0.1, "hours"), change(0.0, "minutes"), change(0.012, "points")
    ('−0.1 h', '±0 min', '+1.2 points')
    """
    size = f"{abs(100 * value):,.1f} points" if unit == "points" else _plain(abs(value), unit)
    sign = "±" if not any(digit in size for digit in "123456789") else "+" if value > 0 else "−"
    return sign + size


def _shown_instant(value: datetime, zone: ZoneInfo | None) -> str:
    local = value.replace(tzinfo=UTC).astimezone(zone)
    return f"{local.day} {NAMES[local.month - 1][:3]} {local.year}, {local:%H:%M}"


def day_words(day: date) -> str:
    """Return a day as the page prints it.

    >>> day_words(date(2026, 11, 5))
    '5 Nov 2026'
    """
    return f"{day.day} {NAMES[day.month - 1][:3]} {day.year}"


def interval(limits: Limits | None, kind: str = "share") -> str:
    """Return limits in words, empty when there are none.

    >>> interval((0.0096, 0.0792))
    '95% interval 1.0% to 7.9%'
    """
    return f"95% interval {shown(limits[0], kind)} to {shown(limits[1], kind)}" if limits else ""


def difference_in_words(difference: Difference, unit: str) -> str:
    """Return a difference with its interval where it has one."""
    if unit != "share":
        return change(difference.value, unit)
    text = shown(difference.value, "points")
    if difference.low is None or difference.high is None:
        return text
    low, high = (
        shown(value, "points").removesuffix(" points") for value in (difference.low, difference.high)
    )
    return f"{text} (95% interval {low} to {high})"


def of_total(point: Point, unit: str, amount: str = "cases") -> str:
    """Return a month's value with its count, total and interval; ``amount`` is what the total is made of.

    >>> of_total(Point("2026-10", 0.5, 1, 2, 0.0945, 0.9055), "share")
    '1 of 2 (50.0%, 95% interval 9.4% to 90.5%)'
    """
    if point.count is None or point.total is None:
        return shown(point.value, unit)
    limits = None if point.low is None or point.high is None else (point.low, point.high)
    inside = ", ".join(filter(None, (shown(point.value, unit), interval(limits, unit))))
    return f"{basis(point.count, point.total, amount)} ({inside})"


def of_share(share: Share, of: str = "") -> str:
    """Return a count out of a total with its share and interval; ``of`` is what the total is made of.

    >>> of_share(Share(1, 107), "starts"), of_share(Share(0, 0))
    ('1 of 107 starts (0.9%, 95% interval 0.2% to 5.1%)', '0 of 0')
    """
    told = f"{share.count:,} of {share.total:,}{f' {of}' if of else ''}"
    inside = f"{shown(share.value, 'share')}, {interval(share.limits)}"
    return f"{told} ({inside})" if share.total else told


def basis(count: float, total: float, amount: str) -> str:
    """Return what a value rests on.

    >>> basis(9, 161, "cases"), basis(13874.2, 14123.1, "hours"), basis(1558000, 571.6, "days")
    ('9 of 161', '13,874 of 14,123 h', '571.6 therapy days')
    """
    if amount == "days":
        return f"{total:,.1f} therapy days"
    return f"{count:,.0f} of {total:,.0f}{' h' if amount == 'hours' else ''}"


def counted(number: int, one: str, many: str | None = None) -> str:
    """Return a number with its noun.

    >>> counted(1, "case"), counted(0, "case"), counted(2, "time in use", "times in use")
    ('1 case', 'no cases', '2 times in use')
    """
    noun = one if number == 1 else many or f"{one}s"
    return f"no {noun}" if number == 0 else f"{number:,} {noun}"


def all_cases(caption: str, number: int) -> str:
    """Return the caption of a list from which nothing is left out.

    >>> all_cases("Changeovers", 0), all_cases("Changeovers", 3)
    ('Changeovers: none', 'Changeovers: 3, all listed')
    """
    return f"{caption}: {number:,}, all listed" if number else f"{caption}: none"


def listed(words: list[str]) -> str:
    """Return words as a list in a sentence.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + f" and {words[-1]}" if words else ""


def part_words(part: str) -> str:
    """Return a part's name in words.

    >>> part_words("water_bag")
    'water bag'
    """
    return part.replace("_", " ")


def sentence(text: str) -> str:
    """Return a text that begins with a capital.

    >>> sentence("water bag")
    'Water bag'
    """
    return text[:1].upper() + text[1:]


def lower_first(text: str) -> str:
    """Return a text that goes on in a sentence.

    >>> lower_first("Within its limits")
    'within its limits'
    """
    return text[:1].lower() + text[1:]
