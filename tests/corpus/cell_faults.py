"""One bad cell: every column of every table with texts that it must not take for a value of its kind.

The bad cell stands in the second of three rows; the rows around it must come through. Which texts meet which
column follows from the order of both: each column meets a few, each text at least one column.
"""

from __future__ import annotations

from collections.abc import Iterator

from bad_file import BadFile, Expect
from good_rows import GOOD, as_text, rows_of, store_of

from pipeline.records import TABLES, Column, Table
from pipeline.store.ledger import LOGS

#: Texts that are no instant of the plain layout, by what is wrong with them.
_NO_INSTANT = {
    "two-digit-year": "26-03-02T08:00",
    "day-first": "02/03/2026 08:00",
    "day-first-dots": "02.03.2026 08:00",
    "no-leap-year": "2026-02-29T08:00",
    "31-april": "2026-04-31T08:00",
    "month-13": "2026-13-02T08:00",
    "hour-24": "2026-03-02T24:00",
    "hour-25": "2026-03-02T25:00",
    "minute-60": "2026-03-02T08:60",
    "second-60": "2026-03-02T08:00:60",
    "day-alone": "2026-03-02",
    "clock-alone": "08:00",
    "serial": "46083.3333333",
    "serial-comma": "46083,3333333",
    "seconds-since-1970": "1772438400",
    "no-separators": "20260302T0800",
    "half-day-clock": "2026-03-02 08:00 AM",
    "comma-fraction": "2026-03-02T08:00:00,5",
    "lower-t": "2026-03-02t08:00",
    "two-spaces": "2026-03-02  08:00",
    "zone-by-name": "2026-03-02T08:00 CET",
    "offset-15": "2026-03-02T08:00+15:00",
    "offset-of-hours": "2026-03-02T08:00+01",
    "year-five-digits": "12026-03-02T08:00",
    "minus-signs": "2026−03−02T08:00",
    "full-width": "２０２６-03-02T08:00",
    "arabic-digits": "٢٠٢٦-03-02T08:00",
    "zero-width": "\u200b2026-03-02T08:00",
    "right-to-left": "\u200f2026-03-02T08:00",
    "words": "yesterday evening",
    "formula": "=NOW()",
    "failed-formula": "#DIV/0!",
    "cut-off": "2026-03-02T08:",
    "a-span": "2026-03-02T08:00/09:00",
    "apostrophe": "'2026-03-02T08:00",
}
_NO_DATE = {
    "day-first": "02/03/2026",
    "two-digit-year": "26-03-02",
    "no-leap-year": "2026-02-29",
    "31-april": "2026-04-31",
    "no-zeros": "2026-3-2",
    "with-clock": "2026-03-02T08:00",
    "month-alone": "2026-03",
    "month-by-name": "2 March 2026",
    "serial": "46083",
    "failed-formula": "#N/A",
    "zero-width": "2026-03-02\u200b",
    "full-width": "２０２６-03-02",
    "words": "unknown",
}
_NO_NUMBER = {
    "decimal-comma": "7,5",
    "dot-and-comma": "1.299,99",
    "comma-and-dot": "1,299.99",
    "no-break-space": "1\u00a0299",
    "narrow-space": "1\u202f299",
    "space": "1 299",
    "power-of-ten": "1e1",
    "not-a-number": "NaN",
    "infinite": "inf",
    "hexadecimal": "0x1F",
    "with-unit": "30 L/min",
    "letter-o": "3O",
    "words": "thirty",
    "full-width": "３０",
    "arabic-digits": "٣٠",
    "one-half": "½",
    "per-cent": "30%",
    "minus-sign": "−3",
    "two-signs": "--3",
    "no-decimals": "3.",
    "two-points": "3.0.1",
    "underscore": "1_0",
    "failed-formula": "#DIV/0!",
    "formula": "=15+15",
    "apostrophe": "'30",
    "less-than": "<30",
    "about": "~30",
    "a-date": "2026-03-30",
    "true": "true",
    "money": "€30",
    "zero-width": "3\u200b0",
    "right-to-left": "\u200f30",
    "sixteen-digits": "1234567890123456",
}  # fmt: skip
_NO_WHOLE = {"with-decimals": "7.0", "halves": "7.5", **_NO_NUMBER}
_NO_CODE = {
    "unknown": "perhaps",
    "two-codes": "passed failed",
    "homoglyph": "рassed",
    "number": "1",
    "question-mark": "?",
    "zero-width": "due\u200b",
    "hyphen": "in-use",
    "failed-formula": "#REF!",
}
_NO_FLAG = {"word": "maybe", "number": "2", "letter": "x", "other-language": "ja"}

#: By kind of column: the texts, the reason they are quarantined for, and how many of them a column meets.
_FAULTS: dict[str, tuple[dict[str, str], str, int]] = {
    "instant": (_NO_INSTANT, "bad_time", 4),
    "date": (_NO_DATE, "bad_time", 3),
    "number": (_NO_NUMBER, "bad_number", 3),
    "whole": (_NO_WHOLE, "bad_number", 3),
    "code": (_NO_CODE, "bad_code", 2),
    "flag": (_NO_FLAG, "bad_code", 2),
}


def cell_files() -> Iterator[BadFile]:
    """Yield a file for each column and each text that it meets, and for what it lacks or exceeds."""
    met = dict.fromkeys(_FAULTS, 0)
    for table in TABLES.values():
        for column in (column for column in table.columns if column.name in GOOD[table.name]):
            if column.kind in _FAULTS:
                texts, reason, count = _FAULTS[column.kind]
                for kind, text in (list(texts.items()) * 2)[met[column.kind] :][:count]:
                    yield _bad_cell(table, column, kind, text, reason)
                met[column.kind] = (met[column.kind] + count) % len(texts)
            if column.required:
                yield _bad_cell(table, column, "missing", "", "missing_value")
            for kind, bound, beyond in (("below", column.low, -1), ("above", column.high, 1)):
                if bound is not None:
                    yield _bad_cell(table, column, kind, f"{bound + beyond:g}", "out_of_range")
            if column.kind == "instant" and column.required:
                yield _bad_cell(table, column, "spring-gap", "2026-03-29T01:30", "nonexistent_local_time")


def _bad_cell(table: Table, column: Column, kind: str, text: str, reason: str) -> BadFile:
    name = f"{table.name}_{column.name}-{kind}"
    first, second, third = rows_of(table.name, name)
    content = as_text([first, second | {column.name: text}, third]).encode()
    note = "a formula that failed" if text.startswith("#") and table.name not in LOGS else None
    if column.required or column.kind in ("instant", "date"):
        expect = Expect(accepted=2, quarantined={3: f"{reason}:{column.name}"}, note=note)
    else:
        expect = Expect(accepted=3, warnings={"value_dropped": 1}, note=note)
    return BadFile(f"{name}.csv", content, expect, store_of(table.name))
