"""What a spreadsheet does to identifiers and rows without asking, told from what it leaves behind."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import polars as pl

from pipeline.ingest.blocks import SOURCE_ROW
from pipeline.ingest.headers import Header
from pipeline.ingest.profiles import column_of, part_of
from pipeline.ingest.restate import ERRORS
from pipeline.records import INSTANT, Table
from pipeline.store.ledger import LOGS

#: As spreadsheets write them in English, German, French and Spanish.
_MONTH = (
    "(?:jan|ene|feb|fév|mar|mär|mrz|apr|avr|abr|may|mai|jun|juin|jul|juil|aug|aoû|ago|sep|oct|okt|nov|dec|déc"
    "|dez|dic)[a-zà-ÿ]*"
)
_DAY = "[0-9]{1,2}"
_YEAR = "[0-9]{2,4}"

#: What each kind of damage to an identifier looks like, and the words for it.
_PATTERNS = {
    "scientific": (
        r"^[0-9](?:[.,][0-9]+)?[eE][+-][0-9]{1,3}$",
        "a long number cut down to powers of ten (1.23E+15); its last digits are gone",
    ),
    "date_like": (
        rf"(?i)^(?:{_DAY}[-. ]{{1,2}}{_MONTH}(?:[-. ]{_YEAR})?|{_MONTH}[-. ]{_YEAR}|{_DAY}[/.]{_DAY}[/.]{_YEAR}"
        r"|[0-9]{4}-[0-9]{2}-[0-9]{2}[T ]00:00(?::00)?)$",
        "a date where an identifier was typed",
    ),
    "fraction": (r"^[0-9]+[.,]0+$", "a whole number with decimal places; leading zeros may be gone too"),
    "thousands": (r"^[0-9]{1,3}(?:[,'’][0-9]{3})+$", "a number with marks between its thousands"),
    "too_narrow": (r"^#{2,}$", "what a column too narrow for its values shows (####); the values are gone"),
    "fifteen_digits": (
        r"^[1-9][0-9]{15,40}$",
        "a number rounded to fifteen digits, as a spreadsheet keeps no more",
    ),
    "unseen": (
        r"[\x00-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]",
        "letters that cannot be seen, so that two names look like one",
    ),
    "lost_letters": ("\ufffd", "letters that were lost when the text was converted"),
}
_ADVICE = "format the column as text before typing or pasting, and export again"
_ADVICE_OF = {
    "error": "mend the formula, and export again",
    "unseen": "type the names anew, or export again without line breaks and marks in them",
    "lost_letters": "export again as UTF-8",
    "too_narrow": "widen the column, and export again",
}
#: Before there were such units; programs write 1 January 1900 or 1970 where they have no time.
_EARLIEST = datetime.datetime(2000, 1, 1)
#: A bag, tube or mask of fewer millilitres is none; of as many litres it might be.
_LEAST_ML = 20
#: The last rows of a sheet, of old and of new workbooks: what lay below is not in the file.
ROW_LIMITS = (65_536, 1_048_576)


@dataclass(frozen=True)
class Damage:
    """One kind of damage in one column: how many rows show it, and the first of them."""

    kind: str
    column: str
    rows: int
    first_row: int

    @property
    def sentence(self) -> str:
        """The damage in plain words, with what to do."""
        shown = "a formula that failed" if self.kind == "error" else _PATTERNS[self.kind][1]
        advice = _ADVICE_OF.get(self.kind, _ADVICE)
        count = f"{self.rows:,} row{'s' if self.rows > 1 else ''}, the first is row {self.first_row}"
        return f"column '{self.column}' holds {shown} ({count}); {advice}"


def find_damage(rows: pl.DataFrame, header: Header, table: Table) -> Iterator[Damage]:
    """Look through a block's rows as the file has them; of the large logs only at the units."""
    for name in rows.columns:
        if name == SOURCE_ROW or (table.name in LOGS and name != "unit_id"):
            continue
        said = rows[name].unique()
        trimmed = said.str.strip_chars()
        column = header.names.get(name, part_of(name))
        if column_of(table, part_of(name)).kind in ("id", "patient"):
            for kind, (pattern, _) in _PATTERNS.items():
                damaged = said.filter(trimmed.str.contains(pattern))
                if kind == "fifteen_digits":
                    is_rounded = [_is_rounded(text) for text in damaged.str.strip_chars()]
                    damaged = damaged.filter(pl.Series(is_rounded, dtype=pl.Boolean))
                yield from _found(kind, column, rows, name, damaged)
        yield from _found("error", column, rows, name, said.filter(trimmed.is_in(list(ERRORS))))


def _is_rounded(digits: str) -> bool:
    """Say whether a long number is what a spreadsheet makes of any that begins with the same fifteen digits.

    >>> _is_rounded("1234567890123450000"), _is_rounded("1234567890123450112"), _is_rounded("1234567890123456789")
    (True, True, False)
    """
    value = float(digits)
    ends_so = not digits[15:].strip("0") or int(value) == int(digits)
    return ends_so and float(f"{value:.14e}") == value


def _found(kind: str, column: str, rows: pl.DataFrame, name: str, damaged: pl.Series) -> Iterator[Damage]:
    if len(damaged):
        hits = rows.filter(pl.col(name).is_in(damaged.implode()))[SOURCE_ROW]
        yield Damage(kind, column, len(hits), int(hits[0]))


def merged(found: Iterable[Damage]) -> tuple[Damage, ...]:
    """Bring together what the blocks of a file showed."""
    kinds: dict[tuple[str, str], Damage] = {}
    for one in found:
        before = kinds.get((one.kind, one.column))
        kinds[one.kind, one.column] = replace(before, rows=before.rows + one.rows) if before else one
    return tuple(kinds.values())


def row_limit_reached(last_row: int) -> str | None:
    """Say that a file ends exactly where a spreadsheet's rows do.

    >>> row_limit_reached(65_537) is None
    True
    """
    if last_row not in ROW_LIMITS:
        return None
    return (
        f"the file ends at row {last_row:,}, the last that a spreadsheet can hold; what lay below is lost. "
        "Export a shorter time, or to CSV without a spreadsheet in between"
    )


def lost_zeros(units: pl.Series, listed: pl.Series) -> str | None:
    """Say which rows name a unit that the site's list has only with other leading zeros; both in lower case."""
    known = set(listed)
    stripped = {unit.lstrip("0") for unit in known}
    shorn = [
        unit for unit in units.drop_nulls().unique() if unit not in known and unit.lstrip("0") in stripped
    ]
    if not shorn:
        return None
    rows = int(units.is_in(shorn).sum())
    return (
        f"{rows:,} rows name one of {len(shorn)} units without the leading zeros that the site's list has, or "
        f"with zeros that it lacks; {_ADVICE}"
    )


def perhaps_no_time(rows: pl.DataFrame, table: Table) -> str | None:
    """Say that times lie so far back that they stand for none."""
    instants = [column.name for column in table.columns if column.kind == INSTANT]
    count = int(rows.select(pl.any_horizontal(False, pl.col(instants) < _EARLIEST).sum()).item())
    if not count:
        return None
    return f"{count:,} rows name a time before {_EARLIEST:%Y}, as programs write one that they have not; check them"


def perhaps_litres(volumes: pl.Series) -> str | None:
    """Say that volumes are so small that they may be litres.

    >>> perhaps_litres(pl.Series([1000.0, None, 20.0])) is None
    True
    """
    rows = int((volumes < _LEAST_ML).sum())
    if not rows:
        return None
    return (
        f"{rows:,} rows give fewer than {_LEAST_ML} mL in 'volume_ml', as litres would read; "
        "declare the unit in a profile, or export millilitres"
    )
