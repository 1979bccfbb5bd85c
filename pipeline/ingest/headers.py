"""Where the declared columns of a file stand, found by their names."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

import polars as pl

from pipeline.errors import RefusedFile
from pipeline.ingest.limits import COLUMNS
from pipeline.ingest.profiles import Profile, nearest, part_of
from pipeline.ingest.time_formats import read_times
from pipeline.records import Table

#: Rows among which a declared header is looked for; what stands above it are title rows.
HEADER_ROWS = 60
_SHOWN = 200
#: How alike two names are, from 0 to 1, of which one is probably a slip for the other.
_ALMOST = 0.75


@dataclass(frozen=True)
class Header:
    """Where a file's declared fields stand: field to position; the other columns by name only.

    ``row`` is the header's own, ``names`` what the file calls each field, ``days`` the positions of a
    logbook's columns with the day that each is for.
    """

    width: int
    positions: dict[str, int]
    undeclared: tuple[str, ...]
    row: int = 1
    names: dict[str, str] = field(default_factory=dict)
    days: dict[int, str] = field(default_factory=dict)


def find_header(
    rows: Sequence[tuple[int, list[str]]], table: Table, profile: Profile
) -> tuple[Header, list[str]]:
    """Find the header among a file's first rows (number, cells); return it and the title rows as text.

    The plain layout has it in the first row; a declared one where most of its names stand.
    """
    wanted = {folded(their) for their in profile.fields(table).values()}
    counts = [len(wanted & {folded(cell) for cell in cells}) for _, cells in rows]
    best = counts.index(max(counts)) if counts and profile.table else 0
    if not counts or not counts[best]:
        raise RefusedFile(_no_header(rows, table, profile))
    number, cells = rows[best]
    titles = [" ".join(cell.strip() for cell in above if cell.strip()) for _, above in rows[:best]]
    return place_columns(cells, table, profile, number, _days(cells, profile, titles)), titles


def place_columns(
    cells: Sequence[str], table: Table, profile: Profile, row: int, days: dict[int, str]
) -> Header:
    """Place the declared fields by the names in the header row, in any order and case of letters."""
    if len(cells) > COLUMNS:
        raise RefusedFile(f"row {row} names {len(cells):,} columns, and no table has so many; check it")
    names, lowered = [cell.strip() for cell in cells], [folded(cell) for cell in cells]
    positions = {
        name: lowered.index(folded(their))
        for name, their in profile.fields(table).items()
        if folded(their) in lowered
    }
    doubled = sorted({names[place] for place in positions.values() if lowered.count(lowered[place]) > 1})
    if doubled:
        raise RefusedFile(f"row {row} names a column twice: {', '.join(doubled)}")
    _require_columns(table, profile, positions, names)
    _require_only(profile, names)
    declared = {*positions.values(), *days}
    undeclared = tuple(name for place, name in enumerate(names) if place not in declared and name)
    told = {name: names[place] for name, place in positions.items()}
    return Header(len(names), positions, undeclared, row, told, days)


def almost_named(header: Header, table: Table, profile: Profile) -> Iterator[str]:
    """Say which columns are left out although their names are nearly those of columns that the file lacks."""
    lacking = [their for name, their in profile.fields(table).items() if name not in header.positions]
    for name in header.undeclared:
        if close := get_close_matches(name.lower(), lacking, n=1, cutoff=_ALMOST):
            yield (
                f"column '{name}' is not read, though its name is almost '{close[0]}'; "
                "rename it, or declare it in a profile"
            )


def repeated(rows: pl.DataFrame, header: Header, table: Table) -> pl.DataFrame:
    """Return the rows that say the header again, in a table of nothing but names.

    Elsewhere a name is no time, number or code, and the row rules keep such a row out.
    """
    if not only_names(table):
        return rows.clear()
    said = [
        pl.col(field).str.strip_chars().str.to_lowercase() == name.lower()
        for field, name in header.names.items()
    ]
    return rows.filter(pl.all_horizontal(said))


def only_names(table: Table) -> bool:
    """Say whether any text will do for all that a row of the table must have."""
    return all(column.kind in ("id", "patient") for column in table.columns if column.required)


def folded(name: str) -> str:
    """Return a column's name as it is compared: without regard to case and to how it is spaced or broken."""
    return " ".join(name.split()).lower()


def export_time(titles: list[str], profile: Profile) -> str | None:
    """Return the export's own time as a title row says it, None where none is declared."""
    return _found(profile.exported_at, titles, "the time of the export") if profile.exported_at else None


def _no_header(rows: Sequence[tuple[int, list[str]]], table: Table, profile: Profile) -> str:
    expected = ", ".join(profile.fields(table).values())
    if profile.table is None:
        return f"row 1 is no header of {table.name}; expected {expected}"
    fullest = max(rows, key=lambda row: sum(bool(cell.strip()) for cell in row[1]), default=(1, []))
    filled = sum(bool(cell.strip()) for cell in fullest[1])
    return (
        f"no row holds the column names that the profile '{profile.name}' declares ({expected}); the fullest "
        f"of the first rows is row {fullest[0]} with {filled} cells. Check delimiter, sheet and [columns]"
    )


def _require_columns(table: Table, profile: Profile, positions: dict[str, int], names: list[str]) -> None:
    has = {column.name: profile.provides(column.name, positions) for column in table.columns}
    missing = [column.name for column in table.columns if column.required and not has[column.name]]
    # What a profile declares it counts on: a column that is gone is not one that was left empty.
    declared = {*profile.columns, *profile.durations}
    fields = profile.fields(table)
    gone = [name for name in fields if name not in positions and part_of(name) in declared]
    missing = [name for name in missing if name not in map(part_of, gone)] + gone
    if table.name == "part_changes" and not (has["unit_id"] or has["patient_ref"]):
        missing.append("unit_id or patient_ref")
    if missing:
        told = [fields.get(name, name) for name in missing]
        unused = [name for place, name in enumerate(names) if place not in positions.values() and name]
        hints = "".join(dict.fromkeys(nearest(name, unused) for name in told))
        found = ", ".join(filter(None, names))
        shown = found if len(found) <= _SHOWN else f"{found[:_SHOWN]}…"
        raise RefusedFile(f"missing column(s) {', '.join(told)}; found {shown}.{hints}")


def _require_only(profile: Profile, names: list[str]) -> None:
    declared = {folded(name) for name in profile.only}
    strays = [name for name in names if name and folded(name) not in declared]
    if declared and strays:
        raise RefusedFile(
            f"holds the column(s) {', '.join(strays)}, which '{profile.name}' does not declare; add them there"
        )


def _days(cells: Sequence[str], profile: Profile, titles: list[str]) -> dict[int, str]:
    """Return the columns of a logbook that stand for a day, each with the day as ISO 8601."""
    wide = profile.wide
    if wide is None:
        return {}
    month, stated = "", wide.day_format
    if wide.month and wide.month_format:
        month = _found(wide.month, titles, "the month of the logbook")
        stated = f"{wide.day_format}\t{wide.month_format}"
    heads = pl.Series("head", [f"{cell.strip()}\t{month}".rstrip("\t") for cell in cells], pl.String)
    read = read_times(heads, [stated], with_clock=False)
    # A workbook's own days come as the midnight that begins them.
    read = read.fill_null(heads.str.extract(r"^([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]00:00(?::00)?$"))
    exists = read.str.to_date("%Y-%m-%d", strict=False).is_not_null()
    days = {place: day for place, (day, is_day) in enumerate(zip(read, exists, strict=True)) if is_day}
    if not days:
        raise RefusedFile(f"no column is headed by a day as the profile declares it ({wide.day_format!r})")
    if len(set(days.values())) < len(days):
        raise RefusedFile("two columns are headed by one day")
    return days


def _found(pattern: str, titles: list[str], meaning: str) -> str:
    match = next(filter(None, (re.search(pattern, title) for title in titles)), None)
    if match is None:
        raise RefusedFile(f"no row above the header gives {meaning} as the profile declares it ({pattern!r})")
    return match.group(1).strip()
