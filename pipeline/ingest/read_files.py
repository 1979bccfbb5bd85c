"""From a file's bytes to blocks of rows in which every field is still text. Nothing is guessed or converted.

Text without a quote mark is split by lines and delimiters, with the fields of every line counted; other text
goes through a strict CSV reader, which alone understands quoting and records of several lines. Whatever is no
text becomes a table of text first (`cells`).
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from re import Pattern
from typing import Any

import numpy as np
import polars as pl

from pipeline.errors import RefusedFile
from pipeline.ingest.blocks import SOURCE_ROW, Block, footer_of, ragged, require_short
from pipeline.ingest.cells import cell_block, first_rows, json_lines, rows_below, text_cells
from pipeline.ingest.headers import HEADER_ROWS, Header, export_time, find_header
from pipeline.ingest.limits import LINE_BYTES
from pipeline.ingest.profiles import Profile
from pipeline.ingest.text_encodings import decoded
from pipeline.ingest.untrusted import Sheet, read_parquet, read_sheet, unpacked
from pipeline.records import Table

#: The formats that are no lines of delimited text.
_OTHER_FORMATS = ("xlsx", "parquet", "jsonl")
#: Bytes of text, and records of quoted text, that are read in one go; bounds the memory that one file takes.
BLOCK_BYTES = 1 << 26
BLOCK_RECORDS = 100_000


@dataclass(frozen=True)
class Export:
    """One file, read and found to be its table; ``body`` is the text under the header, or ``cells`` the rows
    of what is no text, with their ``source_row``. ``exported_at`` is what a title row says, as it says it."""

    name: str
    sha256: str
    table: str
    profile: Profile
    header: Header
    body: bytes = b""
    cells: pl.DataFrame | None = None
    exported_at: str | None = None
    from_1904: bool = False
    hidden_rows: int = 0


def read_content(path: Path) -> bytes:
    """Return a file's bytes; raise RefusedFile when there are none to be had."""
    if not path.is_file():  # a pipe would be waited for without end
        raise RefusedFile("is no regular file, or is gone")
    try:
        content = path.read_bytes()
    except OSError as error:
        raise RefusedFile(f"cannot be read: {error.strerror}") from error
    if not content:
        raise RefusedFile("the file is empty; export it again")
    return content


def fingerprint(content: bytes) -> str:
    """Return the SHA-256 of a file's content, in hexadecimal: what a file is known by."""
    return hashlib.sha256(content).hexdigest()


def open_export(name: str, sha256: str, content: bytes, table: Table, profile: Profile) -> Export:
    """Check that the content is what its profile says; raise RefusedFile with the reason when it is not."""
    if profile.compression != "none":
        content = unpacked(content, profile.compression)
    if profile.format in _OTHER_FORMATS or profile.wide:
        sheet = _sheet_of(content, profile)
        header, titles = find_header(first_rows(sheet), table, profile)
        cells, told = rows_below(sheet, header), export_time(titles, profile)
        return Export(
            name, sha256, table.name, profile, header, b"", cells, told, sheet.from_1904, sheet.hidden_rows
        )
    text = _unix_lines(decoded(content, profile.encoding))
    header, titles = find_header(_first_lines(text, profile), table, profile)
    start = 0
    for _ in range(header.row):
        start = text.find(b"\n", start) + 1 or len(text)
    told = export_time(titles, profile)
    return Export(name, sha256, table.name, profile, header, text[start:], exported_at=told)


def _sheet_of(content: bytes, profile: Profile) -> Sheet:
    if profile.format == "xlsx":
        return read_sheet(content, profile.sheet or "")
    if profile.format == "parquet":
        return read_parquet(content)
    text = _unix_lines(decoded(content, profile.encoding))
    if profile.format == "jsonl":
        return json_lines(text)
    try:
        return text_cells(_reader(io.StringIO(text.decode("utf-8"), newline=""), profile))
    except csv.Error as error:
        raise RefusedFile(f"its quotes do not match ({error}); export the file again") from error


def _first_lines(text: bytes, profile: Profile) -> list[tuple[int, list[str]]]:
    """Return the first lines with their numbers, split into fields; of the plain layout the first alone."""
    wanted = HEADER_ROWS if profile.table else 1
    rows: list[tuple[int, list[str]]] = []
    for number, line in enumerate(text.split(b"\n", wanted)[:wanted], 1):
        require_short([(number, line)])
        try:
            rows.append((number, next(_reader([line.decode("utf-8")], profile), [])))
        except csv.Error as error:
            if not profile.table:
                raise RefusedFile(f"row 1: the header's quotes do not match ({error})") from error
            rows.append((number, []))  # the first line of a record that goes on
    return rows


def _reader(lines: Iterable[str], profile: Profile) -> Iterator[list[str]]:
    """Return a strict CSV reader; without a quote mark declared, quotes are text like any other."""
    if not profile.quote:
        return csv.reader(lines, delimiter=profile.delimiter, quoting=csv.QUOTE_NONE, strict=True)
    return csv.reader(lines, delimiter=profile.delimiter, quotechar=profile.quote, strict=True)


def read_blocks(export: Export) -> Iterator[Block]:
    """Yield a file's rows block by block, each row with the number of its first line (header = row 1)."""
    if export.cells is not None:
        yield cell_block(export.cells, export.header, export.profile)
        return
    quote = export.profile.quote
    if quote and quote.encode() in export.body:
        yield from _quoted_blocks(export)
        return
    line, start = export.header.row + 1, 0
    while start < len(export.body):
        stop = export.body.find(b"\n", start + BLOCK_BYTES)
        stop = len(export.body) if stop < 0 else stop + 1
        text = export.body[start:stop]
        yield _plain_block(text, export, line)
        line, start = line + text.count(b"\n"), stop


def _unix_lines(content: bytes) -> bytes:
    """Make every line end in LF, so that one rule finds the lines. Inside a quoted field that changes nothing
    but the kind of line break."""
    return content.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in content else content


def _plain_block(text: bytes, export: Export, first_line: int) -> Block:
    """Split unquoted text; only where some line is irregular are the lines looked at one by one."""
    delimiter, width = export.profile.delimiter.encode(), export.header.width
    count, footer = _line_count(text), footer_of(export.profile)
    if footer is None and _is_regular(text, delimiter, width):
        numbers = range(first_line, first_line + count)
        return Block(count, _split(text, export, numbers), ragged([]), 0)
    lines = list(enumerate(text.removesuffix(b"\n").split(b"\n"), first_line))
    require_short(lines)
    filled = [(number, line) for number, line in lines if line.strip() and line.strip(delimiter)]
    if footer:
        margin = delimiter + b" "
        filled = [item for item in filled if not footer.search(item[1].strip(margin).decode("utf-8"))]
    whole = [(number, line) for number, line in filled if line.count(delimiter) == width - 1]
    torn = [
        (number, line.count(delimiter) + 1) for number, line in filled if line.count(delimiter) != width - 1
    ]
    rows = _split(b"\n".join(line for _, line in whole), export, [number for number, _ in whole])
    return Block(count, rows, ragged(torn), count - len(filled))


def _line_count(text: bytes) -> int:
    return text.count(b"\n") + (not text.endswith(b"\n"))


def _is_regular(text: bytes, delimiter: bytes, width: int) -> bool:
    """Tell whether every line holds ``width`` fields, and none is blank (only spaces or only delimiters) or
    longer than any may be."""
    characters = np.frombuffer(text, np.uint8)
    marks = np.flatnonzero(characters == delimiter[0])
    ends = np.flatnonzero(characters == 10)
    if not text.endswith(b"\n"):
        ends = np.append(ends, len(text))
    if width == 1 or len(marks) != len(ends) * (width - 1) or np.diff(ends, prepend=-1).max() > LINE_BYTES:
        return False
    first, last = marks[:: width - 1], marks[width - 2 :: width - 1]
    regular = (last < ends).all() and (first[1:] > ends[:-1]).all()
    blank = delimiter * (width - 1) + b"\n"
    return bool(regular) and not text.startswith(blank) and b"\n" + blank not in text + b"\n"


def _split(text: bytes, export: Export, numbers: Sequence[int]) -> pl.DataFrame:
    """Turn lines that all hold as many fields as the header into columns of text."""
    header = export.header
    names = {f"column_{place + 1}": name for name, place in header.positions.items()}
    if not len(numbers):
        return _text_frame(header, {}, [])
    fields = pl.read_csv(
        text,
        has_header=False,
        schema={f"column_{place + 1}": pl.String for place in range(header.width)},
        columns=list(names),
        separator=export.profile.delimiter,
        quote_char=None,
    )
    return fields.rename(names).select(*header.positions, pl.Series(SOURCE_ROW, numbers, pl.Int64))


def _text_frame(header: Header, values: dict[str, list[str]], numbers: list[int]) -> pl.DataFrame:
    columns = {name: pl.Series(values.get(name, []), dtype=pl.String) for name in header.positions}
    return pl.DataFrame({**columns, SOURCE_ROW: pl.Series(numbers, dtype=pl.Int64)})


def _quoted_blocks(export: Export) -> Iterator[Block]:
    records = _records(export)
    while batch := list(islice(records, BLOCK_RECORDS)):
        yield _quoted_block(batch, export.header, footer_of(export.profile))


def _records(export: Export) -> Iterator[tuple[int, list[str]]]:
    """Yield each record with the number of its first line; a quote that never closes refuses the file."""
    reader: Any = _reader(io.StringIO(export.body.decode("utf-8"), newline=""), export.profile)
    while True:
        number = reader.line_num + export.header.row + 1
        try:
            yield number, next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            reason = "a quote is opened and never closed" if "unexpected end" in str(error) else str(error)
            raise RefusedFile(f"row {number}: {reason}; export the file again") from error


def _quoted_block(batch: list[tuple[int, list[str]]], header: Header, footer: Pattern[str] | None) -> Block:
    filled = [
        (number, fields) for number, fields in batch if any(fields) and (len(fields) > 1 or fields[0].strip())
    ]
    if footer:
        filled = [item for item in filled if not footer.search(next(filter(None, item[1])).strip())]
    whole = [item for item in filled if len(item[1]) == header.width]
    torn = [item for item in filled if len(item[1]) != header.width]
    values = {name: [fields[place] for _, fields in whole] for name, place in header.positions.items()}
    rows = _text_frame(header, values, [number for number, _ in whole])
    uneven = ragged([(number, len(fields)) for number, fields in torn])
    return Block(len(batch), rows, uneven, len(batch) - len(filled))
