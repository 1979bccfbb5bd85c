"""GS1 element strings, as a pack prints them or a scanner sends them, where a lot is expected.

Application identifiers are two to four digits that say what follows: 01 the article's number with its check
digit, 10 the lot, 17 the expiry, 21 a serial number. They stand in round brackets, or follow a scanner's own
mark with fields of open length closed by the separator FNC1 (GS, 0x1D).
"""

from __future__ import annotations

import calendar
import datetime
import re

import polars as pl

from pipeline.errors import UsageError
from pipeline.records import Table

#: What no plain lot begins with or holds: an identifier in brackets, a scanner's mark, a separator.
LABEL = r"^\((?:01|10|11|17|21)\)|^\](?:C1|d2|Q3|e0)|\x1d"
#: A scanned label without any mark: the article's number leads, and it is longer than a lot can be (20).
_BARE = r"^01[0-9]{14}.{5,}$"
_MAY_BE_LABEL = f"{LABEL}|{_BARE}"
_BRACKETED = re.compile(r"\(([0-9]{2,4})\)([^()]+)")
_SCANNER_MARK = re.compile(r"^\][A-Za-z][0-9]")
#: Identifiers of numbers that end in a check digit.
_ARTICLES = ("01", "02")
_LOT, _EXPIRY = "10", "17"
_READ = {
    "said": pl.String,
    "year": pl.String,
    "read": pl.Boolean,
    "in_label": pl.String,
    "expiry": pl.String,
}


def with_labels(rows: pl.DataFrame, table: Table) -> pl.DataFrame:
    """Return rows in the plain layout's columns with the lot out of each label, and its expiry where the row
    has none of its own; a label that cannot be read stays as it is, and the row rules see it."""
    if "lot" not in rows.columns or table.time not in rows.columns:
        return rows
    if "expires_on" not in rows.columns:
        rows = rows.with_columns(expires_on=pl.lit(None, pl.String))
    said = {"said": pl.col("lot").str.strip_chars(), "year": pl.col(table.time).str.strip_chars().str.head(4)}
    labels = rows.select(**said).filter(pl.col("said").str.contains(_MAY_BE_LABEL)).unique()
    read = [(text, year, True, *_lot_and_expiry(text, year)) for text, year in labels.iter_rows()]
    told = rows.with_columns(**said).join(
        pl.DataFrame(read, _READ, orient="row"),
        on=["said", "year"],
        how="left",
        maintain_order="left",
        nulls_equal=True,
    )
    own_expiry = pl.col("expires_on").str.strip_chars().replace("", None)
    return told.with_columns(
        lot=pl.when("read").then("in_label").otherwise("lot"), expires_on=pl.coalesce(own_expiry, "expiry")
    ).select(rows.columns)


def _lot_and_expiry(text: str, year: str | None) -> tuple[str | None, str | None]:
    """Return what a label says in a row of this year, as text; the text itself where it cannot be read.

    Without a year there is no expiry; the row is kept out for its time.
    """
    found = elements(text)
    if found is None:
        return text, None
    if _EXPIRY not in found or not (year and year.isdecimal()):
        return found.get(_LOT), None
    expiry = expires_on(found[_EXPIRY], int(year))
    return (found.get(_LOT), expiry.isoformat()) if expiry else (text, None)


def elements(text: str) -> dict[str, str] | None:
    """Return a label's fields by their identifiers; None where it is cut short, says a thing twice, or has a
    wrong check digit. The table of identifiers and the check digit are those of the package biip.

    >>> elements("(01)09506000134352(17)271231(10)ABC123")
    {'01': '09506000134352', '17': '271231', '10': 'ABC123'}
    >>> elements("(01)09506000134353(10)ABC123") is None
    True
    """
    from biip import ParseConfig, ParseError
    from biip.checksums import gs1_standard_check_digit
    from biip.gs1_element_strings import GS1ElementString
    from biip.gs1_messages import GS1Message

    days_unjudged = ParseConfig(gs1_element_strings_verify_date=False)
    bracketed = _BRACKETED.findall(text)
    try:
        if text.startswith("("):
            if "".join(f"({name}){value}" for name, value in bracketed) != text:
                return None
            said = [
                GS1ElementString.parse(name + value.strip(), config=days_unjudged)
                for name, value in bracketed
            ]
        else:
            scanned = _SCANNER_MARK.sub("", text).strip("\x1d")
            said = list(GS1Message.parse(scanned, config=days_unjudged).element_strings)
    except ParseError:
        return None
    found = {element.ai.ai: element.value for element in said}
    articles = [found[name] for name in _ARTICLES if name in found]
    verified = all(gs1_standard_check_digit(number[:-1]) == int(number[-1]) for number in articles)
    return found if verified and len(found) == len(said) else None


def expires_on(yymmdd: str, year: int) -> datetime.date | None:
    """Return the day that six digits mean to somebody in ``year``; day 00 is the month's last. None: no such day.

    The century is that in which the year lies from 49 years back to 50 ahead (GS1 General Specifications 7.12).

    >>> expires_on("240200", 2024), expires_on("760101", 2026), expires_on("770101", 2026)
    (datetime.date(2024, 2, 29), datetime.date(2076, 1, 1), datetime.date(1977, 1, 1))
    """
    ahead = (int(yymmdd[:2]) - year + 49) % 100 - 49
    month, day = int(yymmdd[2:4]), int(yymmdd[4:])
    try:
        return datetime.date(year + ahead, month, day or calendar.monthrange(year + ahead, month)[1])
    except ValueError:
        return None


def lot_named(text: str) -> str:
    """Return the lot that a person names, as printed or as a label; raise UsageError for a label without one."""
    text = text.strip(" ")
    if not re.search(_MAY_BE_LABEL, text):
        return text.strip()
    found = elements(text)
    if found is None and not re.search(LABEL, text):
        return text
    if found is None:
        raise UsageError(
            "The label given as lot has a wrong check digit or cannot be read; name its lot alone."
        )
    if _LOT not in found:
        raise UsageError("The label given as lot holds none: it has no field (10); name the lot as printed.")
    return found[_LOT]


def may_name(text: str, lot: str) -> bool:
    """Tell whether a text names a lot; a label that cannot be read does as soon as the lot stands in it.

    >>> may_name("(10)ABC(21)7", "abc"), may_name("(10)ABC(21)7", "7"), may_name("(01)123(10)ABC", "abc")
    (True, False, True)
    """
    said = text.strip(" ")
    if re.search(_MAY_BE_LABEL, said):
        found = elements(said)
        if found is None:
            return lot.casefold() in said.casefold()
        said = found.get(_LOT, "")
    return said.strip().casefold() == lot.casefold()
