"""What a file is, before anything is known of it: packed or not, its encoding, its delimiter, its header row."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipeline.errors import RefusedFile
from pipeline.ingest.archives import kind_of
from pipeline.ingest.cells import json_lines, text_cells
from pipeline.ingest.drafting.words import COLUMN_WORDS, folded
from pipeline.ingest.headers import HEADER_ROWS
from pipeline.ingest.text_encodings import decoded
from pipeline.ingest.untrusted import Sheet, read_parquet, read_sheet, sheet_names, unpacked

_DELIMITERS = (",", ";", "\t", "|")
_SAMPLE_LINES = 300
_FOOTER_ROWS = 6
_FOOTER = re.compile(
    r"(?i)^(?:total|sum|summe|gesamt|end of|ende|report|printed|generated|page|seite|\*+|-{3,}|=+)"
)
_KNOWN_WORDS = {word for words in COLUMN_WORDS.values() for word in words} | {
    folded(name) for name in COLUMN_WORDS
}
_VALUE = re.compile(r"^[\d\s.,:/+%-]+$")


@dataclass(frozen=True)
class Look:
    """A file's table: the settings that read it so, why, its column names and the cells below them, its title
    rows as text, and the sheet of the workbook, if it is one."""

    settings: dict[str, Any]
    reasons: tuple[str, ...]
    names: list[str]
    cells: pl.DataFrame
    titles: tuple[str, ...]
    first_row: int
    doubts: tuple[str, ...] = field(default_factory=tuple)


def look_at(content: bytes, sheet: str | None) -> Look:
    """Look at a file's content; raise RefusedFile for one that cannot be looked into."""
    settings: dict[str, Any] = {}
    reasons: list[str] = []
    doubts: list[str] = []
    content = _unpacked(content, settings, reasons)
    if content[:2] == b"PK" or content[:4] == b"\xd0\xcf\x11\xe0":
        found = _sheet(content, sheet, settings, reasons, doubts)
    elif content[:4] == b"PAR1":
        settings["format"] = "parquet"
        found = read_parquet(content)
    else:
        found = _text(content, settings, reasons, doubts)
    return _below_header(found, settings, reasons, doubts)


def _unpacked(content: bytes, settings: dict[str, Any], reasons: list[str]) -> bytes:
    packed = {"a gzip file": "gzip", "a zstd file": "zstd"}.get(kind_of(content) or "")
    if packed is None and content[:2] == b"PK" and b"[Content_Types].xml" not in content:
        packed = "zip"
    if packed:
        settings["compression"] = packed
        reasons.append(f"it is packed with {packed}")
        return unpacked(content, packed)
    return content


def _sheet(
    content: bytes, asked: str | None, settings: dict[str, Any], reasons: list[str], doubts: list[str]
) -> Sheet:
    names = sheet_names(content)
    sheets = {name: read_sheet(content, name) for name in ([asked] if asked else names)}
    best = max(sheets, key=lambda name: _header_score(sheets[name].cells))
    settings |= {"format": "xlsx", "sheet": best}
    if len(sheets) > 1:
        reasons.append(
            f"of the sheets {', '.join(repr(name) for name in names)}, '{best}' has the most known names"
        )
        scores = sorted((_header_score(sheet.cells) for sheet in sheets.values()), reverse=True)
        if scores[0] == scores[1]:
            doubts.append("two sheets look alike; name the one that counts with --sheet")
    return sheets[best]


def _header_score(cells: pl.DataFrame) -> int:
    return max((_known(row) for row in cells.head(HEADER_ROWS).iter_rows()), default=0)


def _known(row: Sequence[str | None]) -> int:
    return sum(bool(cell) and _is_known(cell or "") for cell in row)


def _is_known(name: str) -> bool:
    words = folded(re.sub(r"[(\[].*?[)\]]", " ", name)).split()
    return any(" ".join(words[:end]) in _KNOWN_WORDS for end in range(1, len(words) + 1))


def _text(content: bytes, settings: dict[str, Any], reasons: list[str], doubts: list[str]) -> Sheet:
    encoding = _encoding(content, reasons, doubts)
    if encoding != "utf-8":
        settings["encoding"] = encoding
    text = decoded(content, encoding).replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if text.lstrip()[:1] == b"{":
        settings["format"] = "jsonl"
        return json_lines(text)
    delimiter = _delimiter(text.decode("utf-8"), reasons, doubts)
    if delimiter != ",":
        settings["delimiter"] = delimiter
    reader = csv.reader(io.StringIO(text.decode("utf-8"), newline=""), delimiter=delimiter)
    try:
        return text_cells(list(reader))
    except csv.Error as error:
        raise RefusedFile(f"its quotes do not match ({error})") from error


def _encoding(content: bytes, reasons: list[str], doubts: list[str]) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    sample = content[:4000]
    if sample and sample[1::2].count(0) > 0.4 * len(sample[1::2]):
        reasons.append("every second byte is 0, as in UTF-16")
        return "utf-16-le"
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        letters = sorted({chr(byte) for byte in content if byte > 127})
        doubts.append(
            f"the text is not UTF-8; cp1252 is assumed, in which {len(letters)} kinds of letters look right"
        )
        return "cp1252"
    return "utf-8"


def _delimiter(text: str, reasons: list[str], doubts: list[str]) -> str:
    """Choose the delimiter by which most lines have one and the same number of fields, and several."""
    lines = text.split("\n")[:_SAMPLE_LINES]
    scores = {}
    for delimiter in _DELIMITERS:
        rows = csv.reader(io.StringIO("\n".join(lines), newline=""), delimiter=delimiter)
        widths = Counter(len(row) for row in rows if len(row) > 1)
        width, count = widths.most_common(1)[0] if widths else (1, 0)
        scores[delimiter] = (count, width)
    best = max(_DELIMITERS, key=lambda delimiter: scores[delimiter])
    filled = sum(bool(line.strip()) for line in lines)
    reasons.append(f"{scores[best][0]} of the first {filled} lines have {scores[best][1]} fields by {best!r}")
    if 2 * scores[best][0] < filled:
        doubts.append("no delimiter divides most lines alike")
    return best


def _below_header(sheet: Sheet, settings: dict[str, Any], reasons: list[str], doubts: list[str]) -> Look:
    rows = [[cell or "" for cell in row] for row in sheet.cells.head(HEADER_ROWS).rows()]
    if not rows:
        raise RefusedFile("it holds no rows")
    place = _header_place(rows)
    names = [cell.strip() for cell in rows[place]]
    titles = tuple(" ".join(cell.strip() for cell in row if cell.strip()) for row in rows[:place])
    if place:
        reasons.append(f"the column names stand in row {sheet.first_row + place}, below {place} title rows")
    cells = sheet.cells.slice(place + 1)
    footers = _footers(cells)
    if footers:
        settings["footers"] = footers
        reasons.append(f"rows at the end that begin with {', '.join(footers)} are no rows of the table")
        first = pl.coalesce(pl.all().str.strip_chars().replace("", None))
        cells = cells.filter(~first.str.contains("|".join(footers)).fill_null(False))
    return Look(settings, tuple(reasons), names, cells, titles, sheet.first_row + place + 1, tuple(doubts))


def _header_place(rows: list[list[str]]) -> int:
    """Return the row with the most known names; with none known, the first that is full and all words."""
    known = [_known(row) for row in rows]
    if max(known) >= 1:
        return known.index(max(known))
    width = max(sum(bool(cell.strip()) for cell in row) for row in rows)
    for place, row in enumerate(rows):
        filled = [cell for cell in row if cell.strip()]
        if len(filled) == width and not any(_VALUE.match(cell) for cell in filled):
            return place
    return 0


def _footers(cells: pl.DataFrame) -> list[str]:
    """Return patterns for rows at the end that begin with a word no row of a table begins with."""
    found = []
    for row in cells.tail(_FOOTER_ROWS).iter_rows():
        first = next((cell.strip() for cell in row if cell and cell.strip()), "")
        if match := _FOOTER.match(first):
            found.append(f"^{re.escape(match.group())}")
    return list(dict.fromkeys(found))
