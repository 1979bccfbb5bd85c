"""Some rows of a file, still text, with an account of every line that was read."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

from pipeline.errors import RefusedFile
from pipeline.ingest.limits import LINE_BYTES
from pipeline.ingest.profiles import Profile

#: The number of the line, or of the sheet's row, in which a row begins.
SOURCE_ROW = "source_row"


@dataclass(frozen=True)
class Block:
    """Some lines of a file: ``rows`` (declared fields as text, ``source_row``), ``ragged`` (``source_row``,
    ``fields``) whose fields cannot be told apart, the number of blank lines and declared footers ``skipped``,
    and of all lines ``read``, counted apart so that none gets lost."""

    read: int
    rows: pl.DataFrame
    ragged: pl.DataFrame
    skipped: int


def ragged(torn: list[tuple[int, int]]) -> pl.DataFrame:
    """Return the rows of the wrong length, each with the number of its fields."""
    return pl.DataFrame(torn, schema={SOURCE_ROW: pl.Int64, "fields": pl.Int64}, orient="row")


def require_short(lines: Iterable[tuple[int, bytes]]) -> None:
    """Raise RefusedFile for a line that no table needs: most often a quote or its line end is missing."""
    row = next((number for number, line in lines if len(line) > LINE_BYTES), None)
    if row is not None:
        raise too_long(row)


def too_long(row: int) -> RefusedFile:
    """Return the refusal of a file for one of its rows."""
    return RefusedFile(
        f"row {row} is longer than {LINE_BYTES:,} bytes, which no table needs; check quotes and line ends"
    )


def footer_of(profile: Profile) -> re.Pattern[str] | None:
    """Return the one pattern for all footers that the profile declares: it meets a row's first filled cell."""
    return re.compile("|".join(f"(?:{item})" for item in profile.footers)) if profile.footers else None
