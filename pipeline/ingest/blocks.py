"""Some rows of a file, still text, with an account of every line that was read."""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

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


def footer_of(profile: Profile) -> re.Pattern[str] | None:
    """Return the one pattern for all footers that the profile declares: it meets a row's first filled cell."""
    return re.compile("|".join(f"(?:{item})" for item in profile.footers)) if profile.footers else None
