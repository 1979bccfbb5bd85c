"""From a file's bytes to blocks of rows in which every field is still text. Nothing is guessed or converted.

Text without a quote mark is split by lines and delimiters, with the fields of every line counted; anything
else goes through a strict CSV reader, which alone understands quoting and records of several lines.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.errors import RefusedFile
from pipeline.ingest.profiles import Profile, nearest
from pipeline.records import Table

#: Columns that any plain file may carry besides those of its table.
COMMON_COLUMNS = ("site_id", "exported_at")
SOURCE_ROW = "source_row"
#: Bytes of text, and records of quoted text, that are read in one go; bounds the memory that one file takes.
BLOCK_BYTES = 1 << 26
BLOCK_RECORDS = 100_000
_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Header:
    """Where a file's declared columns stand: canonical name to position; the others by name only."""

    width: int
    positions: dict[str, int]
    undeclared: tuple[str, ...]


@dataclass(frozen=True)
class Block:
    """Some lines of a file: ``rows`` (declared columns as text, ``source_row``), ``ragged`` (``source_row``,
    ``fields``) whose fields cannot be told apart, the number of blank lines ``skipped``, and of all lines
    ``read``, counted apart so that none gets lost."""

    read: int
    rows: pl.DataFrame
    ragged: pl.DataFrame
    skipped: int


@dataclass(frozen=True)
class Export:
    """One file, read and found to be its table; ``body`` is the text under the header."""

    name: str
    sha256: str
    table: str
    delimiter: str
    header: Header
    body: bytes


def read_content(path: Path) -> bytes:
    """Return a file's bytes; raise RefusedFile when there are none to be had."""
    if not path.is_file():  # a pipe would be waited for without end
        raise RefusedFile("is no regular file")
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
    """Check that the content is text under the table's header; raise RefusedFile with the reason when not."""
    _require_text(content)
    first, _, body = _unix_lines(content.removeprefix(_BOM)).partition(b"\n")
    header = read_header(first.decode("utf-8"), table, profile)
    return Export(name, sha256, table.name, profile.delimiter, header, body)


def read_header(line: str, table: Table, profile: Profile) -> Header:
    """Place the declared columns by the names on the header line, in any order and case of letters."""
    try:
        names = [
            name.strip() for name in next(csv.reader([line], delimiter=profile.delimiter, strict=True), [])
        ]
    except csv.Error as error:
        raise RefusedFile(f"row 1: the header's quotes do not match ({error})") from error
    lowered = [name.lower() for name in names]
    theirs = {name: profile.columns.get(name, name).lower() for name in (*table.names, *COMMON_COLUMNS)}
    positions = {name: lowered.index(their) for name, their in theirs.items() if their in lowered}
    if not set(positions) & set(table.names):
        raise RefusedFile(f"row 1 is no header of {table.name}; expected {', '.join(table.names)}")
    doubled = sorted({names[place] for place in positions.values() if lowered.count(lowered[place]) > 1})
    if doubled:
        raise RefusedFile(f"row 1 names a column twice: {', '.join(doubled)}")
    _require_columns(table, positions, names)
    declared = set(positions.values())
    undeclared = tuple(name for place, name in enumerate(names) if place not in declared and name)
    return Header(len(names), positions, undeclared)


def read_blocks(export: Export) -> Iterator[Block]:
    """Yield a file's rows block by block, each row with the number of its first line (header = row 1)."""
    if b'"' in export.body:
        yield from _quoted_blocks(export)
        return
    line, start = 2, 0
    while start < len(export.body):
        stop = export.body.find(b"\n", start + BLOCK_BYTES)
        stop = len(export.body) if stop < 0 else stop + 1
        text = export.body[start:stop]
        yield _plain_block(text, export, line)
        line, start = line + text.count(b"\n"), stop


def _require_text(content: bytes) -> None:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise RefusedFile("the text is UTF-16; save it as UTF-8")
    if content[:2] == b"PK":
        raise RefusedFile("this is a workbook or an archive, not text; save the sheet as CSV (UTF-8)")
    if (place := content.find(b"\0")) >= 0:
        row = content.count(b"\n", 0, place) + 1
        raise RefusedFile(f"row {row} holds a NUL byte; export it again as text")
    if content.isascii():
        return
    try:
        content.decode("utf-8")
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        raise RefusedFile(f"row {row} is not UTF-8; save the file as CSV (UTF-8)") from error


def _unix_lines(content: bytes) -> bytes:
    """Make every line end in LF, so that one rule finds the lines. Inside a quoted field that changes nothing
    but the kind of line break."""
    return content.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in content else content


def _require_columns(table: Table, positions: dict[str, int], names: list[str]) -> None:
    missing = [column.name for column in table.columns if column.required and column.name not in positions]
    if table.name == "part_changes" and not {"unit_id", "patient_ref"} & set(positions):
        missing.append("unit_id or patient_ref")
    if missing:
        unused = [name for place, name in enumerate(names) if place not in positions.values() and name]
        hints = "".join(nearest(name, unused) for name in missing)
        raise RefusedFile(f"missing column(s) {', '.join(missing)}; found {', '.join(names)}.{hints}")


def _plain_block(text: bytes, export: Export, first_line: int) -> Block:
    """Split unquoted text; only where some line is irregular are the lines looked at one by one."""
    delimiter, width, count = export.delimiter.encode(), export.header.width, _line_count(text)
    if _is_regular(text, delimiter, width):
        numbers = range(first_line, first_line + count)
        return Block(count, _split(text, export, numbers), _ragged([]), 0)
    lines = enumerate(text.removesuffix(b"\n").split(b"\n"), first_line)
    filled = [(number, line) for number, line in lines if line.strip() and line.strip(delimiter)]
    whole = [(number, line) for number, line in filled if line.count(delimiter) == width - 1]
    torn = [
        (number, line.count(delimiter) + 1) for number, line in filled if line.count(delimiter) != width - 1
    ]
    rows = _split(b"\n".join(line for _, line in whole), export, [number for number, _ in whole])
    return Block(count, rows, _ragged(torn), count - len(filled))


def _line_count(text: bytes) -> int:
    return text.count(b"\n") + (not text.endswith(b"\n"))


def _is_regular(text: bytes, delimiter: bytes, width: int) -> bool:
    """Tell whether every line holds ``width`` fields and none is blank (only spaces or only delimiters)."""
    characters = np.frombuffer(text, np.uint8)
    marks = np.flatnonzero(characters == delimiter[0])
    ends = np.flatnonzero(characters == 10)
    if not text.endswith(b"\n"):
        ends = np.append(ends, len(text))
    if width == 1 or len(marks) != len(ends) * (width - 1):
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
        separator=export.delimiter,
        quote_char=None,
    )
    return fields.rename(names).select(*header.positions, pl.Series(SOURCE_ROW, numbers, pl.Int64))


def _text_frame(header: Header, values: dict[str, list[str]], numbers: list[int]) -> pl.DataFrame:
    columns = {name: pl.Series(values.get(name, []), dtype=pl.String) for name in header.positions}
    return pl.DataFrame({**columns, SOURCE_ROW: pl.Series(numbers, dtype=pl.Int64)})


def _ragged(torn: list[tuple[int, int]]) -> pl.DataFrame:
    return pl.DataFrame(torn, schema={SOURCE_ROW: pl.Int64, "fields": pl.Int64}, orient="row")


def _quoted_blocks(export: Export) -> Iterator[Block]:
    records = _records(export)
    while batch := list(islice(records, BLOCK_RECORDS)):
        yield _quoted_block(batch, export.header)


def _records(export: Export) -> Iterator[tuple[int, list[str]]]:
    """Yield each record with the number of its first line; a quote that never closes refuses the file."""
    reader = csv.reader(
        io.StringIO(export.body.decode("utf-8"), newline=""), delimiter=export.delimiter, strict=True
    )
    while True:
        number = reader.line_num + 2
        try:
            yield number, next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            reason = "a quote is opened and never closed" if "unexpected end" in str(error) else str(error)
            raise RefusedFile(f"row {number}: {reason}; export the file again") from error


def _quoted_block(batch: list[tuple[int, list[str]]], header: Header) -> Block:
    filled = [
        (number, fields) for number, fields in batch if any(fields) and (len(fields) > 1 or fields[0].strip())
    ]
    whole = [item for item in filled if len(item[1]) == header.width]
    torn = [item for item in filled if len(item[1]) != header.width]
    values = {name: [fields[place] for _, fields in whole] for name, place in header.positions.items()}
    rows = _text_frame(header, values, [number for number, _ in whole])
    ragged = _ragged([(number, len(fields)) for number, fields in torn])
    return Block(len(batch), rows, ragged, len(batch) - len(filled))
