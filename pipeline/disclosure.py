"""What may leave the team: small counts are hidden, and whatever else would let a reader work them out.

A count out of a total stands in a table as one row; the rows of the wards add up to that of the site, and so do their
counts, totals and the rest of each. A reader may subtract. So the rows are printed, read back as that reader would, and
where some small number could be told more closely than `LEAST_WIDTH`, more rows are withheld.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

#: From the least to the greatest number that a hidden one may be, as far as any reader can tell.
LEAST_WIDTH = 3

#: Printed where nothing is told, so that a small number elsewhere cannot be worked out.
WITHHELD = "not shown"

#: The least and the greatest number that a reader has to reckon with.
Bounds = tuple[float, float]
Triple = tuple[Bounds, Bounds, Bounds]

_ANY: Bounds = (0, math.inf)


@dataclass(frozen=True)
class Profile:
    """Counts from 1 to ``hides`` are hidden, others rounded to the nearest multiple of ``step`` (odd).

    ``hides_totals`` hides the total beside a hidden count too: exact totals of two editions would tell it.
    """

    name: str
    hides: int
    step: int
    hides_totals: bool
    words: str

    @property
    def few(self) -> str:
        """What is printed for a hidden count."""
        return f"1 to {self.hides}"

    @property
    def all_but_few(self) -> str:
        """What is printed for a count where the rest of its total is hidden."""
        return f"all but {self.few}"

    def is_small(self, count: int) -> bool:
        """Say whether a count is to be hidden; 0 is not."""
        return 0 < count <= self.hides

    def rounded(self, count: int) -> int:
        """Return a count as it is printed when it is not small."""
        return (count + self.step // 2) // self.step * self.step


PROFILES = {
    profile.name: profile
    for profile in (
        Profile(
            "hide_1_7_round_5", 7, 5, False,
            "Counts of 1 to 7 are hidden; all others are rounded to the nearest 5.",
        ),
        Profile(
            "hide_1_10", 10, 1, True,
            "Counts of 1 to 10 are hidden, and with each its total and whatever would tell it. A month that has "
            "changed since it was shared shows no counts.",
        ),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Split:
    """A count out of a total."""

    count: int
    total: int

    @property
    def parts(self) -> tuple[int, int, int]:
        """The count, the rest and the total: what a reader may ask for."""
        return self.count, self.total - self.count, self.total


@dataclass(frozen=True)
class Printed:
    """What is shown of a count out of a total: numbers, or the words that stand in their place."""

    count: int | str
    total: int | str

    @property
    def numbers(self) -> tuple[int, int] | None:
        """Count and total where both are numbers, so that a share can be given."""
        return (
            (self.count, self.total) if isinstance(self.count, int) and isinstance(self.total, int) else None
        )

    @property
    def words(self) -> str:
        """Count and total in a sentence."""
        return f"{self.count} of {self.total}" if self != NOTHING else WITHHELD


@dataclass(frozen=True)
class Left:
    """What a shared edition of a month showed, as hashes: each ward table by measure, the site's counts by month.

    Beside a table's hash stands whether anything in it was hidden.
    """

    month: str
    profile: str
    wards: Mapping[str, tuple[str, bool]]
    months: Mapping[str, str]


NOTHING = Printed(WITHHELD, WITHHELD)


def printed(split: Split, profile: Profile) -> Printed:
    """Return what may be shown of a count on its own; its complement is as small a number as the count is.

    >>> rounding = PROFILES["hide_1_7_round_5"]
    >>> printed(Split(9, 161), rounding), printed(Split(3, 107), rounding)
    (Printed(count=10, total=160), Printed(count='1 to 7', total=105))
    >>> printed(Split(106, 107), rounding), printed(Split(106, 107), PROFILES["hide_1_10"])
    (Printed(count='all but 1 to 7', total=105), Printed(count='not shown', total='not shown'))
    """
    count, rest, total = split.parts
    if profile.hides_totals and (profile.is_small(count) or profile.is_small(rest)):
        return NOTHING
    shown_total = profile.few if profile.is_small(total) else profile.rounded(total)
    if profile.is_small(count):
        return Printed(profile.few, shown_total)
    if profile.is_small(rest) and count:
        return Printed(profile.all_but_few, shown_total)
    return Printed(profile.rounded(count), shown_total)


def printed_rows(rows: Mapping[str, Split], whole: Split, profile: Profile) -> dict[str, Printed]:
    """Return what may be shown of rows that add up to the whole, which is shown as `printed` has it.

    What is withheld besides the small numbers never depends on how large it is: the choice would tell.
    """
    shown = {name: printed(row, profile) for name, row in rows.items()}
    of_whole = printed(whole, profile)
    if not profile.hides_totals:
        safe = not _is_too_little(of_whole, profile) and not _reveals(rows, shown, of_whole, profile)
        return shown if safe else dict.fromkeys(rows, NOTHING)
    for name in _from_first_hidden(shown):
        if rows[name].total and _reveals(rows, shown, of_whole, profile):
            shown[name] = NOTHING
    return shown


def _is_too_little(whole: Printed, profile: Profile) -> bool:
    """Say whether two hidden numbers could make up a total that is shown: that it is not divided would tell them."""
    return isinstance(whole.total, int) and 0 < _near(whole.total, profile)[0] < 2 * (profile.hides + 1)


def _from_first_hidden(shown: Mapping[str, Printed]) -> list[str]:
    """Return the names in the order of the alphabet, beginning with the first that is hidden, and round again."""
    names = sorted(shown)
    first = next((place for place, name in enumerate(names) if shown[name] == NOTHING), 0)
    return names[first:] + names[:first]


def fingerprint(shown: Mapping[str, Printed]) -> str:
    """Return a hash of what is shown, by which a later edition knows whether it shows something else."""
    told = json.dumps([(name, row.count, row.total) for name, row in sorted(shown.items())])
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def is_against(shown: Mapping[str, Printed], earlier: Iterable[tuple[str, bool]]) -> bool:
    """Say whether rows could be set against those of an earlier edition to tell a number that either hides."""
    return any(before != fingerprint(shown) and (hid or hides(shown)) for before, hid in earlier)


def hides(shown: Mapping[str, Printed]) -> bool:
    """Say whether anything in the rows is hidden."""
    return any(row.numbers is None for row in shown.values())


def changed_months(
    months: Mapping[str, Mapping[str, Printed]], profile: Profile, earlier: Iterable[Left]
) -> set[str]:
    """Return the months whose exact counts have left before and would now be others; rounded ones may change.

    ``months`` is what each month prints of the site by measure.
    """
    if profile.step > 1:
        return set()
    before = [
        (month, was) for left in earlier if left.profile == profile.name for month, was in left.months.items()
    ]
    return {month for month, was in before if month in months and fingerprint(months[month]) != was}


def _reveals(
    rows: Mapping[str, Split], shown: Mapping[str, Printed], whole: Printed, profile: Profile
) -> bool:
    """Say whether some small number could be told too closely. What is withheld counts as one row."""
    kept_back = [name for name, row in shown.items() if row == NOTHING]
    told = [name for name in rows if name not in kept_back]
    values = [rows[name].parts for name in told]
    bounds = [read_back(shown[name], profile) for name in told]
    if kept_back:
        values.append(_sums(rows[name].parts for name in kept_back))
        bounds.append((_ANY, _ANY, _ANY))
    return any(
        profile.is_small(value) and high - low < LEAST_WIDTH
        for parts, implied in zip(values, implied_bounds(bounds, read_back(whole, profile)), strict=True)
        for value, (low, high) in zip(parts, implied, strict=True)
    )


def _sums(rows: Iterable[tuple[int, int, int]]) -> tuple[int, int, int]:
    counts, rests, totals = (sum(column) for column in zip(*rows, strict=True))
    return counts, rests, totals


def read_back(shown: Printed, profile: Profile) -> Triple:
    """Return what a reader can tell of the count, the rest and the total from what is printed of them.

    >>> read_back(Printed(10, 15), PROFILES["hide_1_7_round_5"])
    ((8, 9), (8, 9), (16, 17))
    """
    if shown == NOTHING:
        return _ANY, _ANY, _ANY
    few, many = (1, profile.hides), (profile.hides + 1, math.inf)
    total = few if shown.total == profile.few else _near(shown.total, profile)
    if shown.count == profile.few:
        return _consistent((few, (0, math.inf), total))
    if shown.count == profile.all_but_few:
        return _consistent((many, few, total))
    count = _near(shown.count, profile)
    none_left = shown.count == shown.total
    return _consistent((count, (0, 0) if none_left else (1, math.inf) if not shown.count else many, total))


def implied_bounds(rows: list[Triple], whole: Triple) -> list[Triple]:
    """Return what is left for each number of rows that add up to the whole, by subtracting for as long as it helps.

    Rows that cannot add up to it leave nothing for some number: its least is above its greatest.

    >>> twenty, ten, few = (18, 22), (8, 12), (1, 7)
    >>> implied_bounds([(ten, (0, 0), ten), (few, (0, 0), few)], (twenty, (0, 0), twenty))[1][0]
    (6, 7)
    """
    before: list[Triple] = []
    while rows != before and all(low <= high for row in rows for low, high in row):
        before = rows
        columns = [
            _left_over(list(column), whole[place]) for place, column in enumerate(zip(*rows, strict=True))
        ]
        rows = [_consistent(row) for row in zip(*columns, strict=True)]
    return rows


def _left_over(parts: list[Bounds], whole: Bounds) -> list[Bounds]:
    """Return the parts, each narrowed to what the whole and the other parts leave for it."""
    return [
        _both(
            part,
            (
                whole[0] - sum(most for _, most in parts[:place] + parts[place + 1 :]),
                whole[1] - sum(least for least, _ in parts[:place] + parts[place + 1 :]),
            ),
        )
        for place, part in enumerate(parts)
    ]


def _consistent(row: Triple) -> Triple:
    """Return a row narrowed by count + rest = total."""
    count, rest, total = row
    total = _both(total, (count[0] + rest[0], count[1] + rest[1]))
    count = _both(count, (total[0] - rest[1], total[1] - rest[0]))
    return count, _both(rest, (total[0] - count[1], total[1] - count[0])), total


def _both(one: Bounds, other: Bounds) -> Bounds:
    return max(one[0], other[0]), min(one[1], other[1])


def _near(number: int | str, profile: Profile) -> Bounds:
    """Return the counts that are printed as a number."""
    assert isinstance(number, int)
    reach = profile.step // 2 if number else 0
    return number - reach, number + reach
