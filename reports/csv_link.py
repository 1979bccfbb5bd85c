"""A table as a CSV file inside a page: its exact values, safe to open in a spreadsheet."""

from __future__ import annotations

import base64
import csv
import io
import re
import zlib
from dataclasses import dataclass
from datetime import datetime

from pipeline.findings.model import Cell, Table

#: A longer file is packed: for lists it is a tenth then. The page's script unpacks it; without, it is saved packed.
_LONGEST = 4000

#: What would end a link or an attribute, or be lost in one; the browser encodes all else by itself.
_UNSAFE = re.compile(r"[\x00-\x1f\x7f%#\"'<>&`\\]")

#: zlib's number for the gzip format with the largest window; it writes no time and no name.
_GZIP = 31


@dataclass(frozen=True)
class CsvFile:
    """A link that holds a file, and how the file's name ends."""

    link: str
    ending: str


def csv_file(table: Table) -> CsvFile:
    """Return the table as a file in a link, packed where it is long."""
    text = csv_text(table)
    if len(text) <= _LONGEST:
        return CsvFile(csv_link(table), ".csv")
    return CsvFile(f"data:application/gzip;base64,{gzipped(text)}", ".csv.gz")


def csv_link(table: Table) -> str:
    """Return the table as a CSV file in a link that needs no script."""
    return "data:text/csv;charset=utf-8," + _UNSAFE.sub(
        lambda found: f"%{ord(found[0]):02X}", csv_text(table)
    )


def csv_text(table: Table) -> str:
    """Return the table as CSV; text that a spreadsheet would run is made text again."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([_safe(column.name) for column in table.columns])
    writer.writerows([_safe(cell) for cell in row] for row in table.rows)
    return text.getvalue()


def gzipped(text: str) -> str:
    """Return a text in the gzip format, to base 64; the same text gives the same letters."""
    packing = zlib.compressobj(9, zlib.DEFLATED, _GZIP)
    return base64.b64encode(packing.compress(text.encode()) + packing.flush()).decode()


def _safe(cell: Cell) -> str | int | float:
    """Return a cell as CSV has it: instants in UTC, and no text that begins as a formula does."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.strftime("%Y-%m-%dT%H:%M:%SZ")
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
