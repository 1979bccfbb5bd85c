"""Tables of cells that are all text: sheets, Parquet, lines of JSON, and logbooks of one column per day."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import polars as pl

from pipeline.errors import RefusedFile
from pipeline.ingest.blocks import SOURCE_ROW, Block, footer_of, ragged, too_long
from pipeline.ingest.headers import HEADER_ROWS, Header
from pipeline.ingest.limits import LINE_BYTES
from pipeline.ingest.profiles import Profile
from pipeline.ingest.untrusted import Sheet

#: A logbook's row of the sheet and its column make one number: row 5, column 14 is 5000014.
WIDE_COLUMNS = 1_000_000


def first_rows(sheet: Sheet) -> list[tuple[int, list[str]]]:
    """Return the first rows of a sheet with their numbers."""
    head = sheet.cells.head(HEADER_ROWS).rows()
    return [(number, [cell or "" for cell in row]) for number, row in enumerate(head, sheet.first_row)]


def rows_below(sheet: Sheet, header: Header) -> pl.DataFrame:
    """Return the rows under the header with their numbers."""
    below = sheet.cells.slice(header.row - sheet.first_row + 1)
    return below.with_columns(pl.int_range(header.row + 1, header.row + 1 + below.height).alias(SOURCE_ROW))


def text_cells(records: Iterable[list[str]]) -> Sheet:
    """Return the records of a text as cells, short ones filled up; each stands for one row."""
    rows = list(records)
    width = max(map(len, rows), default=0)
    filled = [[*row, *[None] * (width - len(row))] for row in rows]
    return Sheet(pl.DataFrame(filled, schema={str(place): pl.String for place in range(width)}, orient="row"))


def json_lines(text: bytes) -> Sheet:
    """Return lines of JSON objects as cells under their names; numbers stay as they are written."""
    lines = text.removesuffix(b"\n").split(b"\n")
    rows = [_json_line(number, line) if line.strip() else {} for number, line in enumerate(lines, 1)]
    names = list(dict.fromkeys(name for row in rows for name in row))
    if not names:
        raise RefusedFile("the file holds no objects; export it again as one JSON object per line")
    filled = [names, *([row.get(name) for name in names] for row in rows)]
    schema = {str(place): pl.String for place in range(len(names))}
    # The names stand above the first line, so that rows are numbered as the lines are.
    return Sheet(pl.DataFrame(filled, schema=schema, orient="row"), first_row=0)


def _json_line(number: int, line: bytes) -> dict[str, str | None]:
    try:
        pairs = json.loads(
            line, parse_int=str, parse_float=str, parse_constant=str, object_pairs_hook=_unique
        )
        json.dumps(pairs, ensure_ascii=False).encode()  # half a letter (\ud800) is no text
    except (ValueError, RecursionError) as error:
        raise RefusedFile(
            f"row {number} is no JSON object, names a value twice, or holds half a letter; export one per line"
        ) from error
    if not isinstance(pairs, dict) or any(isinstance(value, dict | list) for value in pairs.values()):
        raise RefusedFile(f"row {number} is no flat JSON object; each value must be a text, number or flag")
    return {str(name): _json_text(value) for name, value in pairs.items()}


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(dict(pairs)) < len(pairs):
        raise ValueError("a name twice")
    return dict(pairs)


def _json_text(value: Any) -> str | None:
    if isinstance(value, bool):
        return str(value).lower()
    return None if value is None else str(value)


def cell_block(cells: pl.DataFrame, header: Header, profile: Profile) -> Block:
    """Return all rows of a table of cells; those without any text and declared footers are skipped."""
    places = [str(place) for place in range(header.width)]
    long = cells.filter(pl.any_horizontal(pl.col(places).str.len_bytes() > LINE_BYTES))
    if long.height:
        raise too_long(long[SOURCE_ROW][0])
    trimmed = pl.col(places).str.strip_chars().replace("", None)
    is_kept = ~pl.all_horizontal(trimmed.is_null())
    if footer := footer_of(profile):
        first = cells.select(pl.coalesce(trimmed).alias("first"))["first"]
        is_kept &= pl.Series([footer.search(text or "") is None for text in first], dtype=pl.Boolean)
    kept = cells.filter(is_kept)
    rows = kept.select(
        *(pl.col(str(place)).alias(name) for name, place in header.positions.items()),
        *(pl.col(str(place)).alias(f"day {place}") for place in header.days),
        SOURCE_ROW,
    )
    skipped = cells.height - kept.height
    if profile.wide:
        rows = one_column_per_day(rows, header, profile)
    return Block(rows.height + skipped, rows, ragged([]), skipped)


def one_column_per_day(rows: pl.DataFrame, header: Header, profile: Profile) -> pl.DataFrame:
    """Turn a logbook long: a row for each filled cell below a day, with the fields beside the days.

    An empty cell says nothing. The row's number holds the column's too (`WIDE_COLUMNS`).
    """
    wide = profile.wide
    assert wide is not None
    long = rows.unpivot(
        on=[f"day {place}" for place in header.days],
        index=[*header.positions, SOURCE_ROW],
        variable_name="head",
        value_name="cell",
    ).filter(pl.col("cell").str.strip_chars() != "")
    place = pl.col("head").str.slice(4).cast(pl.Int64)
    day = place.replace_strict(header.days, return_dtype=pl.String)
    told = [day, pl.lit(wide.clock), pl.col("cell")] if len(wide.fields) == 3 else [day, pl.col("cell")]
    made = [expression.alias(name) for name, expression in zip(wide.fields, told, strict=True)]
    number = (pl.col(SOURCE_ROW) * WIDE_COLUMNS + place + 1).alias(SOURCE_ROW)
    return long.select(*header.positions, *made, number).sort(SOURCE_ROW)
